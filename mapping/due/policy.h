// A policy: every interval, threshold and round time that decides what is due, per kind of line and
// per ward. Data from a file, checked by schemas/policy.schema.json; name and version go into every
// Task.
#pragma once

#include <chrono>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::due {

/// The rules for one kind of line. What is empty is not due by that rule.
struct LineRules {
  std::optional<std::chrono::minutes> dwell_max;            ///< elapsed, planned insertion
  std::optional<std::chrono::minutes> dwell_max_emergency;  ///< elapsed, emergency insertion
  std::vector<std::chrono::minutes> check_rounds;           ///< wall time after midnight, sorted
  /// By type of dressing; "" is the default. Without it nothing is due for the dressing at all.
  std::map<std::string, std::chrono::minutes, std::less<>> dressing_max;
  std::optional<int> remove_at_phlebitis_grade;
  std::optional<int> remove_at_infiltration_grade;
  bool remove_on_swelling_at_flush = true;
  bool remove_when_not_needed = true;
};

class Zone;

/// A policy as read. Immutable.
struct Policy {
  std::string name;
  std::string version;
  std::chrono::minutes due_soon{60};    ///< a Task says due-soon this long before its due instant
  std::chrono::minutes grace{30};       ///< ... and overdue this long after it
  std::chrono::minutes watch{48 * 60};  ///< watch of the site after removal
  std::map<std::string, LineRules, std::less<>> by_kind;  ///< by kind of line
  /// ward -> kind -> rules, whole
  std::map<std::string, std::map<std::string, LineRules, std::less<>>, std::less<>> by_ward;
  /// For a line whose kind nobody told: only what makes a line come out now, each as strict as the
  /// strictest of `by_kind`.
  LineRules unknown_kind;

  /// The rules for a line kind on a ward, or null: then a policy-missing task is due, never
  /// silence.
  const LineRules* Find(std::string_view ward, std::string_view kind) const;

  /// How long after the removal a site check is still taken (line::Derive): a day longer than the
  /// watch, so that a late look can still settle it instead of being refused.
  std::chrono::minutes check_after_removal_max() const { return watch + std::chrono::hours(24); }
};

/// Reads a document that passed policy.schema.json; problems beyond the schema come back in words.
Result<Policy> ReadPolicy(schemas::Value document);

/// Rules of a time zone, from the system's tz data.
class Zone {
 public:
  /// Loads e.g. "Europe/London". Fails (ErrorKind::kConfig) when the system does not know it.
  static Result<Zone> Load(const std::string& name);

  const std::string& name() const;
  /// The first instant strictly after `after` at which the wall clock shows one of `rounds`
  /// (minutes after midnight, sorted, not empty). A round that falls into a gap is taken at the
  /// first instant after the gap; one that happens twice is taken the first time.
  Instant NextRound(Instant after, const std::vector<std::chrono::minutes>& rounds) const;
  /// "2026-03-29T03:30:00+01:00".
  std::string Format(Instant instant) const;

  Zone(Zone&&) noexcept;
  Zone& operator=(Zone&&) noexcept;
  ~Zone();

 private:
  struct Rules;
  explicit Zone(std::unique_ptr<const Rules> rules);
  std::unique_ptr<const Rules> rules_;
};

}  // namespace dwell::due
