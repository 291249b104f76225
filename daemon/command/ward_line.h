// What a ward sees of one line: read from the row that the daemon gives, what of it presses most,
// and whether it is asked for. Pure. What the daemon does not know stays empty: no default stands
// in for it.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// An open due thing, as in the daemon's row: codes of our own CodeSystem.
struct WardDue {
  std::string rule, stage, reason;
  std::optional<Instant> due_at;
  std::optional<Instant> forgotten_from;  ///< of a site check, see due::Due
};

struct WardLine {
  std::string source, line_id, patient;
  std::string phase;  ///< "in-place", "unknown", "removed", "not-placed", "unreadable", ...
  std::string ward, bay, bed;
  std::string kind, site;
  bool is_emergency = false;
  std::optional<Instant> since, removed_at, last_check;
  std::optional<std::int64_t> last_grade;
  std::string last_grade_scale;
  std::vector<WardDue> dues;  ///< open ones, the soonest first
  std::string row;            ///< as the daemon gave it

  /// The open due of this rule; null when there is none.
  const WardDue* Find(std::string_view rule) const;
  /// Whether it may still be in the patient: anything but certainly not.
  bool MayBeInPlace() const;
};

/// `row` is an object.
WardLine ReadWardLine(schemas::Value row);

/// What presses, the worst first.
enum class Urgency : std::uint8_t {
  kUnreadable,  ///< nobody can say what is due
  kForgotten,   ///< no check in twice its interval
  kRemoveNow,
  kOverdue,
  kDue,
  kDueSoon,
  kLater,
  kNothingDue,
};
/// "cannot be read", "not looked at", "remove now", "overdue", "due", "due soon", "later", "-".
std::string_view UrgencyInWords(Urgency urgency);
Urgency UrgencyOf(const WardLine& line, Instant now);

/// The most urgent first; of the same urgency, what is due first.
void SortByUrgency(std::vector<WardLine>& lines, Instant now);

/// What is asked for; empty members let everything pass.
struct WardFilter {
  std::string ward = {};
  std::optional<std::chrono::minutes> due_within = {};  ///< or due already
  bool overdue = false;
  std::optional<std::int64_t> grade_min = {};
};
/// A line of which nobody can say what is due passes what asks for dues. One that was not graded
/// does not pass `grade_min`: whoever lists tells how many those are.
bool IsAskedFor(const WardLine& line, const WardFilter& filter, Instant now);

/// "90m", "4h" or "2d"; empty when it is none of these, or more than a year.
std::optional<std::chrono::minutes> ReadSpan(std::string_view text);

}  // namespace dwell::command
