// The due rules as one table: which events start a clock, when the thing is then due, and which
// events stop it.
#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "mapping/due/due.h"

namespace dwell::due {

/// What the ward told last about the patient and about what runs through the line; null: nothing
/// yet. Names of events, which live as long as the line.
struct Care {
  const std::vector<event::Code>* patient_groups = nullptr;
  const std::vector<event::Code>* infusions = nullptr;

  /// Takes what the event tells; an event that tells nothing changes nothing.
  void Take(const event::Event& event);
};

/// What a rule looks at besides the event.
struct Frame {
  const Policy& policy;
  const Zone& zone;
  const LineRules* rules;  ///< null: the policy has no row for this kind of line on this ward
  Care care = {};
};

/// The tightest interval since the last check that the rules ask for under this care; empty: none.
/// By a name that the whole policy does not know the tightest of its sort applies.
std::optional<std::chrono::minutes> TighterInterval(const Frame& frame);

/// A clock that an event starts.
struct Start {
  Instant due_at;
  std::string_view reason;  ///< Due::reason
};

/// How far an open due has come.
struct Progress {
  Stage stage = Stage::kNotYetDue;
  Priority priority = Priority::kRoutine;
  std::size_t escalation = 0;
  std::optional<Instant> changes_at;  ///< after the instant asked for
};
Progress ProgressAt(Instant due_at, const Timing& timing, Instant now);

/// When a line is subject to a rule.
enum class Span : std::uint8_t {
  kInPlace,       ///< from the insertion to the removal
  kAfterRemoval,  ///< from the removal on
};

struct RuleRow {
  Rule rule;
  Span span;
  /// Whether the event starts the clock of this rule, whatever the policy says.
  bool (*anchors)(const event::Event& event, const Frame& frame);
  /// When the thing is due after such an event; empty: never by this policy.
  std::optional<Start> (*starts)(const event::Event& event, const Frame& frame);
  /// Whether the event does what was due.
  bool (*settles)(const event::Event& event, Instant due_at, const Frame& frame);
  /// Whether an open due is judged again by the rules of another ward when the patient moves there.
  bool follows_ward;
  /// Whether TighterInterval() since the event that started the clock makes it due earlier.
  bool tightens;
};

/// All rules but kInsertionRecordMissing, which is about what was not told.
std::span<const RuleRow> RuleTable();

}  // namespace dwell::due
