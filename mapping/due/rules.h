// The due rules as one table: which events start a clock, when the thing is then due, and which
// events stop it.
#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "mapping/due/due.h"

namespace dwell::due {

/// What a rule looks at besides the event.
struct Frame {
  const Policy& policy;
  const Zone& zone;
  const LineRules* rules;  ///< null: the policy has no row for this kind of line on this ward
};

/// A clock that an event starts.
struct Start {
  Instant due_at;
  std::string_view reason;  ///< Due::reason
};

/// How far an open due has come at `now`.
Stage OpenStage(Instant due_at, const Policy& policy, Instant now);

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
};

/// All rules but kInsertionRecordMissing, which is about what was not told.
std::span<const RuleRow> RuleTable();

}  // namespace dwell::due
