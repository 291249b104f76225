// A policy for tests with the figures of common practice, and one ward that knows its own rules.
#pragma once

#include <algorithm>
#include <string>
#include <vector>

#include "mapping/due/due.h"
#include "schemas/base/check.h"
#include "schemas/json/document.h"
#include "tests/mapping/samples.h"

namespace dwell::samples {

inline constexpr const char* kPolicyText = R"({
  "name": "common-practice", "version": "1", "due_soon_min": 60, "grace_min": 30, "watch_h": 48,
  "kinds": {
    "peripheral-cannula": {
      "dwell_max_h": 72, "dwell_max_emergency_h": 24,
      "check_rounds": ["22:00", "06:00", "14:00"],
      "dressing_max_h": {"transparent": 168, "gauze": 48, "default": 96},
      "remove_at_phlebitis_grade": 2, "remove_at_infiltration_grade": 1,
      "remove_on_swelling_at_flush": true, "remove_when_not_needed": true
    },
    "cvc": {"check_rounds": ["06:00", "14:00", "22:00"], "remove_on_swelling_at_flush": false,
            "remove_when_not_needed": false}
  },
  "wards": {
    "ward-hourly": {
      "peripheral-cannula": {"dwell_max_h": 48, "check_rounds": [
        "00:00", "01:00", "02:00", "03:00", "04:00", "05:00", "06:00", "07:00", "08:00", "09:00",
        "10:00", "11:00", "12:00", "13:00", "14:00", "15:00", "16:00", "17:00", "18:00", "19:00",
        "20:00", "21:00", "22:00", "23:00"]},
      "midline": {"dwell_max_h": 336}
    }
  }
})";

inline due::Policy PolicyOf(const std::string& text) {
  const auto document = schemas::Document::Parse(text);
  CHECK(document.has_value());
  auto policy = due::ReadPolicy(document->root());
  CHECK(policy.has_value());
  return *std::move(policy);
}

inline const due::Policy& CommonPractice() {
  static const due::Policy kPolicy = PolicyOf(kPolicyText);
  return kPolicy;
}

inline due::Zone ZoneOf(const std::string& name) {
  auto zone = due::Zone::Load(name);
  CHECK(zone.has_value());
  return *std::move(zone);
}

inline const due::Zone& London() {
  static const due::Zone kZone = ZoneOf("Europe/London");
  return kZone;
}

/// The dues of one rule, in order.
inline std::vector<due::Due> Only(due::Rule rule, std::vector<due::Due> dues) {
  std::erase_if(dues, [rule](const due::Due& due) { return due.rule != rule; });
  return dues;
}

/// "removal-due i 2026-02-05T10:00:00Z not-yet-due", with what settled it and why, and "(if
/// issued)".
inline std::string Text(const due::Due& due) {
  std::string text(due::RuleCode(due.rule));
  text += " " + due.anchor_id + " " + FormatInstant(due.due_at) + " ";
  text += due::StageCode(due.stage);
  if (!due.settled_by.empty()) text += " by " + due.settled_by;
  if (!due.reason.empty()) text += " for " + due.reason;
  if (due.only_if_issued) text += " (if issued)";
  return text;
}

inline std::vector<std::string> Texts(const std::vector<due::Due>& dues) {
  std::vector<std::string> texts;
  for (const auto& due : dues) texts.push_back(Text(due));
  return texts;
}

/// Compute() by the common practice policy in London, for one rule, as text.
inline std::vector<std::string> DuesAt(double hours, due::Rule rule,
                                       std::vector<event::Event> events) {
  return Texts(Only(rule, due::Compute(LineOf(std::move(events)), CommonPractice(), London(),
                                       Hours(hours).instant)));
}

}  // namespace dwell::samples
