// Ward events as their senders write them, short to make: an invented ward, one patient from the
// NHS test range, times as hours after 2026-03-02 09:00 UTC.
#pragma once

#include <string>

#include "mapping/event/event.h"
#include "mapping/event/moment.h"

namespace dwell::test {

/// 2026-03-02 09:00 UTC, a Monday without a change of the clocks near it.
inline Instant Start() { return ReadMoment("2026-03-02T09:00:00Z")->instant; }
inline Instant Hour(double hours) {
  return Start() + std::chrono::milliseconds(static_cast<std::int64_t>(hours * 3'600'000));
}

struct Sketch {
  std::string kind;
  std::string id;
  double hours = 0;
  std::string members;  ///< of this kind, each with a comma in front
  std::string line_id = "line-1";
  double recorded_hours = -1;  ///< as happened when not said
};

inline std::string Raw(const Sketch& sketch) {
  const double recorded = sketch.recorded_hours < 0 ? sketch.hours : sketch.recorded_hours;
  return R"({"kind":")" + sketch.kind + R"(","id":")" + sketch.id +
         R"(","source":"ward-tablets","happened_at":")" + FormatInstant(Hour(sketch.hours)) +
         R"(","recorded_at":")" + FormatInstant(Hour(recorded)) +
         R"(","patient":{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000018"})" +
         R"(,"place":{"ward":"alder","bay":"2","bed":"4"})" +
         R"(,"staff":[{"system":"https://staff.fernhill.example","value":"n-017",)" +
         R"("role":"registered-nurse"}],"line_id":")" + sketch.line_id + "\"" + sketch.members +
         "}";
}

inline Sketch Insertion(const std::string& id, double hours,
                        const std::string& line_id = "line-1") {
  return {"insertion", id, hours,
          R"(,"outcome":"placed","line":{"kind":"peripheral-cannula","gauge":20},)"
          R"("site":{"place":"dorsum-of-hand","side":"left"},"setting":"planned")",
          line_id};
}
inline Sketch SiteCheck(const std::string& id, double hours, int grade = 0,
                        const std::string& line_id = "line-1") {
  return {"site-check", id, hours,
          R"(,"grade":{"scale":"visual-infusion-phlebitis","version":"1998","value":)" +
              std::to_string(grade) + R"(},"still_needed":"yes")",
          line_id};
}
inline Sketch Flush(const std::string& id, double hours, const std::string& line_id = "line-1") {
  return {"flush", id, hours, R"(,"flush":{"fluid":"sodium-chloride-0.9","mL":10})", line_id};
}
inline Sketch Removal(const std::string& id, double hours, const std::string& line_id = "line-1") {
  return {"removal", id, hours, R"(,"reason":"no-longer-required")", line_id};
}
inline Sketch Retraction(const std::string& id, double hours, const std::string& retracts) {
  return {"retraction", id, hours, R"(,"retracts":")" + retracts + R"(","reason":"not-done")"};
}
inline Sketch Replacing(Sketch sketch, const std::string& replaced) {
  sketch.members += R"(,"replaces":")" + replaced + "\"";
  return sketch;
}

}  // namespace dwell::test
