// The events that an event corrects or takes back, and what is said when they are of another line.
// Derive() sees one line; whoever keeps all lines asks these.
#pragma once

#include <array>
#include <string_view>

#include "mapping/line/line.h"

namespace dwell::line {

/// An event named by another one.
struct Target {
  std::string_view pointer;  ///< JSON Pointer into the event that names it
  std::string_view id;       ///< of the event named; empty when none is
};

/// What `replaces` and `retracts` name. Points into `event`.
std::array<Target, 2> TargetsOf(const event::Event& event);

/// The entry of the line that names `event_id` and still does: a retraction that was itself
/// replaced does not. Null if none.
const Entry* WaitsFor(const Line& line, std::string_view event_id);

/// Rule "other-line": `event` names an event that belongs to another line.
Contradiction NamesOtherLine(const event::Event& event, const Target& target);
/// The same rule, when `event` comes after `naming_id`, an event of another line that names it.
/// Taken, it would stay in force although somebody corrected or retracted it.
Contradiction NamedByOtherLine(const event::Event& event, std::string_view naming_id);
/// The same rule, when `event` names an event that has not come and that another line waits for.
Contradiction NamesWhatOtherLineAwaits(const event::Event& event, const Target& target,
                                       std::string_view naming_id);

}  // namespace dwell::line
