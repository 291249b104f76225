// What is due for a line, when, and how far that has come: (line, policy, zone, now) -> dues.
// Pure. A due thing is identified by its rule and the event that started its clock, so that
// deriving again gives the same thing again.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/due/policy.h"
#include "mapping/line/line.h"

namespace dwell::due {

enum class Rule : std::uint8_t {
  kRemoval,                 ///< the dwell limit
  kSiteCheck,               ///< the next look at the site
  kDressing,                ///< the dressing's limit, or at once when it is not intact
  kRemoveNow,               ///< grade, swelling on flush, no longer needed
  kPostRemovalWatch,        ///< look at the site until the watch ends
  kInsertionRecordMissing,  ///< events came for a line whose insertion nobody told
  kPolicyMissing,           ///< no rules for this kind of line on this ward, or for a name told
};

/// "removal-due", "site-check-due", "dressing-change-due", "remove-now", "post-removal-watch",
/// "insertion-record-missing", "policy-missing": codes of our own CodeSystem.
std::string_view RuleCode(Rule rule);

enum class Stage : std::uint8_t {
  kNotYetDue,
  kDueSoon,
  kDue,
  kOverdue,
  kSettled,         ///< done by the event `settled_by`
  kNoLongerNeeded,  ///< e.g. a site check due when the line came out; `settled_by` says by which
                    ///< event
  kEnteredInError,  ///< the event that started its clock was retracted
};

/// "not-yet-due", "due-soon", "due", "overdue", "settled", "no-longer-needed", "entered-in-error".
std::string_view StageCode(Stage stage);

struct Due {
  Rule rule;
  /// Root id (line::Entry::root_id) of the event that started the clock; for
  /// kInsertionRecordMissing the line_id, because there is one per line and which event came first
  /// may change.
  std::string anchor_id;
  Instant from;    ///< when the clock started
  Instant due_at;  ///< when it must be done
  Stage stage;
  /// How urgent; kRoutine when closed. kRemoveNow is one step more urgent than anything else.
  Priority priority = Priority::kRoutine;
  std::size_t escalation = 0;         ///< steps of the escalation passed
  std::optional<Instant> changes_at;  ///< when time alone changes this next; empty: never
  /// Of an open kSiteCheck: from then on nobody has looked in twice the interval; at rounds: from
  /// the round after the missed one.
  std::optional<Instant> forgotten_from;
  std::string settled_by;  ///< root id of the settling, cancelling or retracting event; or empty
  /// For kRemoveNow what triggered it: "phlebitis-grade", "phlebitis-signs" (the signs prove a
  /// grade that was not entered), "phlebitis-definition", "infiltration-grade",
  /// "infiltration-signs", "swelling-on-flush" or "no-longer-required". For kPolicyMissing the name
  /// that the policy does not know: "patient-group-unknown" or "infusion-unknown". Else empty.
  std::string reason;
  std::string policy_name;
  std::string policy_version;
  std::string ward;
  /// This due may never have been told to anyone (the list is derived without memory): it matters
  /// only where a Task was already issued for it, to close that Task. Do not make a new Task of it.
  bool only_if_issued = false;

  friend bool operator==(const Due&, const Due&) = default;
};

/// Everything that is or was due for the line in its whole life as of `now`, in order of `from`.
/// Settled things stay in the list: their Task has to say so.
std::vector<Due> Compute(const line::Line& line, const Policy& policy, const Zone& zone,
                         Instant now);

/// The first instant after that of Compute() at which it would give another answer without a new
/// event; empty when nothing will change any more.
std::optional<Instant> NextChange(const std::vector<Due>& dues);

}  // namespace dwell::due
