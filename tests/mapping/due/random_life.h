// Random lives of a line, for properties that must hold for every one of them.
#pragma once

#include <algorithm>
#include <array>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "tests/mapping/samples.h"

namespace dwell::samples {

using Random = std::mt19937;

inline int Below(Random& random, int limit) {
  return static_cast<int>(random() % static_cast<unsigned>(limit));
}

/// Now and then groups of patients and infusions, some of which no policy knows.
inline void TellCare(Random& random, event::Event* told) {
  constexpr std::array kGroups = {"adult", "child", "giant"};
  constexpr std::array kInfusions = {"non-irritant", "vesicant", "potion"};
  const auto some = [&random](const auto& names) {
    std::vector<event::Code> picked;
    for (const char* name : names) {
      if (Below(random, 3) == 0) picked.emplace_back(name);
    }
    return picked;
  };
  if (Below(random, 5) == 0) told->patient_groups = some(kGroups);
  if (Below(random, 5) == 0) told->infusions = some(kInfusions);
}

inline event::Event RandomCheck(Random& random, std::string id, double hours) {
  event::SiteCheck check;
  if (Below(random, 2) == 0) {
    check.grade.emplace() = {"visual-infusion-phlebitis", "1998", Below(random, 4)};
  }
  if (Below(random, 3) == 0)
    check.dressing.emplace() = {"gauze", Below(random, 2) ? "loose" : "intact"};
  if (Below(random, 4) == 0) check.action = {"redressed"};
  if (Below(random, 5) == 0) check.still_needed = event::Answer::kNo;
  if (Below(random, 5) == 0) check.signs.swelling = event::Finding::kPresent;
  auto told = Check(std::move(id), Hours(hours), std::move(check));
  TellCare(random, &told);
  return told;
}

/// Events as a ward may send them: mostly sensible, some late, corrected, retracted or
/// contradictory.
inline std::vector<event::Event> RandomLife(Random& random) {
  std::vector<event::Event> events;
  const double out = 20 + Below(random, 60);
  events.push_back(Insertion("i", Hours(0), Below(random, 4) ? "peripheral-cannula" : "midline"));
  if (Below(random, 4)) events.push_back(Removal("r", Hours(out)));
  for (int n = Below(random, 10); n > 0; --n) {
    const std::string id = "e" + std::to_string(n);
    const double hours = Below(random, static_cast<int>(out) + 20) + 0.25;
    switch (Below(random, 4)) {
      case 0:
        events.push_back(
            Flush(id, Hours(hours),
                  Below(random, 3) ? event::Finding::kAbsent : event::Finding::kPresent));
        TellCare(random, &events.back());
        break;
      case 1:
        events.push_back(DressingChange(id, Hours(hours), "gauze"));
        break;
      default:
        events.push_back(RandomCheck(random, id, hours));
    }
    if (Below(random, 4) == 0) events.back().place.ward = "ward-hourly";
  }
  for (int n = Below(random, 4); n > 0; --n) {
    const event::Event target =
        events[static_cast<std::size_t>(Below(random, static_cast<int>(events.size())))];
    const std::string id = "u" + std::to_string(n);
    const auto recorded = Hours(100 + n);
    if (Below(random, 2)) {
      auto correction = target;
      correction.id = id;
      correction.replaces = target.id;
      correction.recorded_at = recorded;
      if (target.kind() == event::Kind::kInsertion && Below(random, 2)) {
        correction.body = PlacedLine("cvc");
      }
      if (target.kind() == event::Kind::kSiteCheck)
        correction.body = RandomCheck(random, id, 0).body;
      events.push_back(std::move(correction));
    } else {
      events.push_back(Retraction(id, recorded, target.id));
    }
  }
  std::shuffle(events.begin(), events.end(), random);
  return events;
}

}  // namespace dwell::samples
