// A policy: every interval, threshold and round time that decides what is due, per kind of line and
// per ward. Data from a file, checked by schemas/policy.schema.json; name and version go into every
// Task.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::due {

/// How urgent a due thing is; rising. The codes of FHIR's request-priority, to which Task.priority
/// is bound (https://hl7.org/fhir/R4/valueset-request-priority.html).
enum class Priority : std::uint8_t { kRoutine, kUrgent, kAsap, kStat };

/// "routine", "urgent", "asap", "stat".
std::string_view PriorityCode(Priority priority);

/// From `after` the due instant on, what is still open has this priority.
struct EscalationStep {
  std::chrono::minutes after;
  Priority priority;
  friend bool operator==(const EscalationStep&, const EscalationStep&) = default;
};
/// Sorted by `after`, with rising priorities. Empty: urgent when due, asap when overdue.
using Escalation = std::vector<EscalationStep>;

using MinutesByName = std::map<std::string, std::chrono::minutes, std::less<>>;

/// The rules for one kind of line. What is empty is not due by that rule.
struct LineRules {
  std::optional<std::chrono::minutes> dwell_max;            ///< elapsed, planned insertion
  std::optional<std::chrono::minutes> dwell_max_emergency;  ///< elapsed, emergency insertion
  std::vector<std::chrono::minutes> check_rounds;           ///< wall time after midnight, sorted
  /// Elapsed since the last check, instead of rounds: never both.
  std::optional<std::chrono::minutes> check_interval;
  /// Tighter: elapsed since the last check while the ward says so, see event::Event.
  MinutesByName check_interval_by_patient_group;
  MinutesByName check_interval_by_infusion;
  /// By type of dressing; "" is the default. Without it nothing is due for the dressing at all.
  MinutesByName dressing_max;
  std::optional<int> remove_at_phlebitis_grade;  ///< on any scale but those of the next member
  /// By scale; when not empty the signs are graded on these scales only.
  std::map<std::string, int, std::less<>> remove_at_grade_of_scale;
  bool remove_on_trial_phlebitis = false;  ///< see TrialPhlebitisOf()
  std::optional<int> remove_at_infiltration_grade;
  bool remove_on_swelling_at_flush = true;
  bool remove_when_not_needed = true;
  // In place of the policy's own, where told.
  std::optional<std::chrono::minutes> due_soon;
  std::optional<std::chrono::minutes> grace;
  std::optional<std::chrono::minutes> watch;
  Escalation escalation;

  /// From which grade of this scale on the line comes out; empty: not by grade.
  std::optional<int> RemovalGrade(std::string_view scale) const;
  /// Whether signs are graded on that scale.
  bool Grades(std::string_view scale) const;
};

class Zone;

using Names = std::set<std::string, std::less<>>;

/// A policy as read. Immutable.
struct Policy {
  std::string name;
  std::string version;
  std::chrono::minutes due_soon{60};    ///< a Task says due-soon this long before its due instant
  std::chrono::minutes grace{30};       ///< ... and overdue this long after it
  std::chrono::minutes watch{48 * 60};  ///< watch of the site after removal
  Escalation escalation;
  /// Names that events may tell: those listed as known and those that any rules here name.
  Names patient_groups;
  Names infusions;
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
  /// longest watch, so that a late look can still settle it instead of being refused.
  std::chrono::minutes check_after_removal_max() const;
};

/// How a due thing makes itself heard around its instant.
struct Timing {
  std::chrono::minutes due_soon;
  std::chrono::minutes grace;
  const Escalation* escalation;  ///< never null
};

/// By the rules, or by the policy where they are null or silent.
Timing TimingOf(const Policy& policy, const LineRules* rules);
std::chrono::minutes WatchOf(const Policy& policy, const LineRules* rules);

/// Reads a document that passed policy.schema.json; problems beyond the schema come back in words.
Result<Policy> ReadPolicy(schemas::Value document);

/// Rules of a time zone, from tz data.
class Zone {
 public:
  /// Loads e.g. "Europe/London" from the system, as it was when this process first did so. Fails
  /// (ErrorKind::kConfig) when the system does not know it.
  static Result<Zone> Load(const std::string& name);
  /// The same from the bytes of its file (TZif, RFC 8536), whatever was loaded before.
  static Result<Zone> Read(const std::string& name, const std::string& tzif);

  const std::string& name() const;
  /// Of the rules themselves, whatever they are called and from which version of the tz data they
  /// come: what the clock shows at any instant from 2000 until 2100.
  std::uint64_t Fingerprint() const;
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
