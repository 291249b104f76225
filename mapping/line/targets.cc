#include "mapping/line/targets.h"

#include <string>
#include <utility>

namespace dwell::line {
namespace {

Contradiction OtherLine(const event::Event& event, std::string_view pointer, std::string expected) {
  return {std::string(pointer), "other-line", std::move(expected), event.id};
}

}  // namespace

std::array<Target, 2> TargetsOf(const event::Event& event) {
  const auto* retraction = std::get_if<event::Retraction>(&event.body);
  return {Target{"/replaces", event.replaces},
          Target{"/retracts", retraction != nullptr ? std::string_view(retraction->retracts)
                                                    : std::string_view()}};
}

const Entry* WaitsFor(const Line& line, std::string_view event_id) {
  for (const Entry& entry : line.entries) {
    for (const Target& target : TargetsOf(*entry.event)) {
      if (target.id != event_id) continue;
      const bool dropped = target.pointer == "/retracts" && entry.standing == Standing::kReplaced;
      if (!dropped) return &entry;
    }
  }
  return nullptr;
}

Contradiction NamesOtherLine(const event::Event& event, const Target& target) {
  return OtherLine(event, target.pointer,
                   "an event of this line; " + std::string(target.id) + " belongs to another line");
}

Contradiction NamedByOtherLine(const event::Event& event, std::string_view naming_id) {
  return OtherLine(event, "/line_id",
                   "the line of " + std::string(naming_id) + ", which corrects or retracts this");
}

Contradiction NamesWhatOtherLineAwaits(const event::Event& event, const Target& target,
                                       std::string_view naming_id) {
  return OtherLine(event, target.pointer,
                   "an event of this line; " + std::string(target.id) + " is named by " +
                       std::string(naming_id) + ", which belongs to another line");
}

}  // namespace dwell::line
