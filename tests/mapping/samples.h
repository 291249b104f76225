// Typical ward events for tests: an invented hospital, patient numbers from the NHS test range.
// Times are given as RFC 3339 text, or in hours after kDayOne.
#pragma once

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "mapping/event/event.h"
#include "mapping/line/line.h"
#include "schemas/base/check.h"

namespace dwell::samples {

using EventPtr = std::shared_ptr<const event::Event>;

/// The insertion of most samples; in winter, so that UTC is also London's wall time.
inline constexpr const char* kDayOne = "2026-02-02T10:00:00+00:00";

inline Moment At(const std::string& text) {
  auto moment = ReadMoment(text);
  CHECK(moment.has_value());
  return *moment;
}

/// `hours` (fractions allowed) after kDayOne.
inline Moment Hours(double hours) {
  const auto instant =
      At(kDayOne).instant + std::chrono::milliseconds(static_cast<std::int64_t>(hours * 3'600'000));
  return Moment{instant, FormatInstant(instant)};
}

/// An event of "ward-system" for line "line-1", recorded when it happened, by one nurse on ward-a.
inline event::Event Make(std::string id, Moment happened, event::Body body) {
  event::Event e;
  e.id = std::move(id);
  e.source = "ward-system";
  e.recorded_at = happened;
  e.happened = std::move(happened);
  e.patient = {"https://fhir.nhs.uk/Id/nhs-number", "9990000018", {}};
  e.place = {"ward-a", "bay-2", "bed-5"};
  e.staff = {{"https://hospital.example/staff", "N1001", "registered-nurse"}};
  e.line_id = "line-1";
  e.body = std::move(body);
  return e;
}

inline event::Insertion PlacedLine(std::string kind = "peripheral-cannula") {
  event::Insertion placed;
  placed.line.emplace().kind = std::move(kind);
  placed.line->gauge = 20;
  placed.site.emplace() = {"forearm", "left", "cephalic"};
  placed.dressing.emplace() = {"transparent", "intact"};
  return placed;
}

inline event::Event Insertion(std::string id, Moment happened,
                              std::string kind = "peripheral-cannula") {
  return Make(std::move(id), std::move(happened), PlacedLine(std::move(kind)));
}

/// Nothing was placed; `outcome` is failed, declined or not-attempted.
inline event::Event Attempt(std::string id, Moment happened,
                            event::Outcome outcome = event::Outcome::kFailed) {
  event::Insertion attempt;
  attempt.outcome = outcome;
  attempt.reason = "vein-lost";
  return Make(std::move(id), std::move(happened), std::move(attempt));
}

inline event::Event Check(std::string id, Moment happened, event::SiteCheck body = {}) {
  return Make(std::move(id), std::move(happened), std::move(body));
}

/// A site check with a visual infusion phlebitis grade.
inline event::Event Graded(std::string id, Moment happened, std::int64_t grade) {
  event::SiteCheck check;
  check.grade.emplace() = {"visual-infusion-phlebitis", "1998", grade};
  return Check(std::move(id), std::move(happened), std::move(check));
}

inline event::Event Flush(std::string id, Moment happened,
                          event::Finding swelling = event::Finding::kAbsent) {
  event::Flush flush;
  flush.flush.fluid = "sodium-chloride-0.9";
  flush.flush.swelling = swelling;
  return Make(std::move(id), std::move(happened), std::move(flush));
}

inline event::Event DressingChange(std::string id, Moment happened,
                                   std::string type = "transparent") {
  event::DressingChange change;
  change.type = std::move(type);
  return Make(std::move(id), std::move(happened), std::move(change));
}

inline event::Event Removal(std::string id, Moment happened) {
  event::Removal removal;
  removal.reason = "no-longer-required";
  return Make(std::move(id), std::move(happened), std::move(removal));
}

inline event::Event Retraction(std::string id, Moment happened, std::string retracts) {
  return Make(std::move(id), std::move(happened), event::Retraction{std::move(retracts), "other"});
}

/// `e` as the correction of the event `replaces`, written down an hour later.
inline event::Event Replacing(std::string replaces, event::Event e) {
  e.replaces = std::move(replaces);
  e.recorded_at.instant += std::chrono::hours(1);
  e.recorded_at.text = FormatInstant(e.recorded_at.instant);
  return e;
}

inline std::vector<EventPtr> Shared(std::vector<event::Event> events) {
  std::vector<EventPtr> shared;
  for (auto& e : events) shared.push_back(std::make_shared<const event::Event>(std::move(e)));
  return shared;
}

inline constexpr std::chrono::hours kWatch{48};

/// The events as "line-1" of "ward-system", or why not.
inline Result<line::Line, line::Contradiction> Derived(std::vector<event::Event> events) {
  return line::Derive({"ward-system", "line-1"}, Shared(std::move(events)), kWatch);
}

/// The events as a line; a contradiction is the test's own bug.
inline line::Line LineOf(std::vector<event::Event> events) {
  auto line = Derived(std::move(events));
  CHECK(line.has_value());
  return *std::move(line);
}

}  // namespace dwell::samples
