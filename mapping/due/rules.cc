#include "mapping/due/rules.h"

#include <algorithm>
#include <array>

namespace dwell::due {
namespace {

using event::Event;
using event::Finding;
using event::Kind;

bool IsInsertion(const Event& event, const Frame&) { return event.kind() == Kind::kInsertion; }
bool IsRemoval(const Event& event, const Frame&) { return event.kind() == Kind::kRemoval; }
bool SettledByRemoval(const Event& event, Instant, const Frame&) {
  return event.kind() == Kind::kRemoval;
}
bool SettledByNothing(const Event&, Instant, const Frame&) { return false; }

// The dwell limit, in elapsed time.

std::optional<Start> RemovalStarts(const Event& event, const Frame& frame) {
  if (frame.rules == nullptr) return std::nullopt;
  auto limit = frame.rules->dwell_max;
  const auto& emergency = frame.rules->dwell_max_emergency;
  if (emergency && std::get<event::Insertion>(event.body).emergency) limit = emergency;
  if (!limit) return std::nullopt;
  return Start{event.happened.instant + *limit, {}};
}

// Site checks, at the rounds of the ward.

bool AnchorsSiteCheck(const Event& event, const Frame&) {
  return event.kind() == Kind::kInsertion || event.kind() == Kind::kSiteCheck;
}

/// A check made a little before a round is that round's check: at most the due-soon time before,
/// and never as early as half the way to the following round. Otherwise a check at 13:50 would be
/// asked for again at 14:00. Common practice, no source.
std::optional<Start> SiteCheckStarts(const Event& event, const Frame& frame) {
  if (frame.rules == nullptr || frame.rules->check_rounds.empty()) return std::nullopt;
  const Instant happened = event.happened.instant;
  const Instant next = frame.zone.NextRound(happened, frame.rules->check_rounds);
  if (event.kind() == Kind::kInsertion || next - happened > frame.policy.due_soon) {
    return Start{next, {}};
  }
  const Instant following = frame.zone.NextRound(next, frame.rules->check_rounds);
  const bool is_the_rounds_check = next - happened <= (following - next) / 2;
  return Start{is_the_rounds_check ? following : next, {}};
}

bool SettledBySiteCheck(const Event& event, Instant, const Frame&) {
  return event.kind() == Kind::kSiteCheck;
}

// The dressing: its limit by type, or at once when it is found not intact.

bool Redressed(const event::SiteCheck& check) {
  return std::find(check.action.begin(), check.action.end(), "redressed") != check.action.end();
}

bool NotIntact(const event::SiteCheck& check) {
  return check.dressing && !check.dressing->condition.empty() &&
         check.dressing->condition != "intact";
}

bool AnchorsDressing(const Event& event, const Frame&) {
  const auto* check = std::get_if<event::SiteCheck>(&event.body);
  if (check != nullptr) return Redressed(*check) || NotIntact(*check);
  return event.kind() == Kind::kInsertion || event.kind() == Kind::kDressingChange;
}

std::string_view DressingType(const Event& event) {
  const auto type = [](const std::optional<event::Dressing>& dressing) -> std::string_view {
    return dressing ? std::string_view(dressing->type) : std::string_view();
  };
  if (const auto* placed = std::get_if<event::Insertion>(&event.body))
    return type(placed->dressing);
  if (const auto* check = std::get_if<event::SiteCheck>(&event.body)) return type(check->dressing);
  return std::get<event::DressingChange>(event.body).type;
}

std::optional<Start> DressingStarts(const Event& event, const Frame& frame) {
  if (frame.rules == nullptr || frame.rules->dressing_max.empty()) return std::nullopt;
  const auto* check = std::get_if<event::SiteCheck>(&event.body);
  if (check != nullptr && !Redressed(*check)) return Start{event.happened.instant, {}};
  const auto& limits = frame.rules->dressing_max;
  auto limit = limits.find(DressingType(event));
  if (limit == limits.end()) limit = limits.find(std::string_view());
  if (limit == limits.end()) return std::nullopt;
  return Start{event.happened.instant + limit->second, {}};
}

bool SettledByDressing(const Event& event, Instant, const Frame&) {
  const auto* check = std::get_if<event::SiteCheck>(&event.body);
  return check != nullptr ? Redressed(*check) : event.kind() == Kind::kDressingChange;
}

// What makes a line come out now.

bool Swelled(const std::optional<event::FlushGiven>& flush) {
  return flush && flush->swelling == Finding::kPresent;
}

std::string_view CheckTrigger(const event::SiteCheck& check, const LineRules& rules) {
  const auto& limit = rules.remove_at_phlebitis_grade;
  if (limit && check.grade && check.grade->value >= *limit) return "phlebitis-grade";
  if (limit && PhlebitisGradeProven(kVisualInfusionPhlebitis, check.signs) >= *limit)
    return "phlebitis-signs";
  const auto& infiltration = rules.remove_at_infiltration_grade;
  if (infiltration && check.infiltration_grade && *check.infiltration_grade >= *infiltration) {
    return "infiltration-grade";
  }
  if (rules.remove_on_swelling_at_flush && Swelled(check.flush)) return "swelling-on-flush";
  if (rules.remove_when_not_needed && check.still_needed == event::Answer::kNo) {
    return "no-longer-required";
  }
  return {};
}

/// Why the event means that the line must come out; empty when it does not.
std::string_view Trigger(const Event& event, const LineRules& rules) {
  if (const auto* check = std::get_if<event::SiteCheck>(&event.body)) {
    return CheckTrigger(*check, rules);
  }
  const auto* placed = std::get_if<event::Insertion>(&event.body);
  const auto* flush = std::get_if<event::Flush>(&event.body);
  const bool swelled = (placed != nullptr && Swelled(placed->flush)) ||
                       (flush != nullptr && flush->flush.swelling == Finding::kPresent);
  return swelled && rules.remove_on_swelling_at_flush ? "swelling-on-flush" : std::string_view();
}

bool AnchorsRemoveNow(const Event& event, const Frame& frame) {
  return frame.rules != nullptr && !Trigger(event, *frame.rules).empty();
}

std::optional<Start> RemoveNowStarts(const Event& event, const Frame& frame) {
  if (!AnchorsRemoveNow(event, frame)) return std::nullopt;
  return Start{event.happened.instant, Trigger(event, *frame.rules)};
}

// No row for this kind of line on this ward.

bool AnchorsPolicyMissing(const Event& event, const Frame& frame) {
  return frame.rules == nullptr && event.kind() != Kind::kRemoval;
}

std::optional<Start> PolicyMissingStarts(const Event& event, const Frame& frame) {
  if (frame.rules != nullptr) return std::nullopt;
  return Start{event.happened.instant, {}};
}

// The site after the removal.

std::optional<Start> WatchStarts(const Event& event, const Frame& frame) {
  if (frame.policy.watch <= frame.policy.watch.zero()) return std::nullopt;
  return Start{event.happened.instant + frame.policy.watch, {}};
}

/// Looks before the end of the watch are welcome but do not end it.
bool SettledByLastLook(const Event& event, Instant due_at, const Frame& frame) {
  return event.kind() == Kind::kSiteCheck &&
         event.happened.instant >= due_at - frame.policy.due_soon;
}

constexpr std::array kRules = {
    RuleRow{Rule::kRemoval, Span::kInPlace, IsInsertion, RemovalStarts, SettledByRemoval, true},
    RuleRow{Rule::kSiteCheck, Span::kInPlace, AnchorsSiteCheck, SiteCheckStarts, SettledBySiteCheck,
            true},
    RuleRow{Rule::kDressing, Span::kInPlace, AnchorsDressing, DressingStarts, SettledByDressing,
            true},
    RuleRow{Rule::kRemoveNow, Span::kInPlace, AnchorsRemoveNow, RemoveNowStarts, SettledByRemoval,
            false},
    RuleRow{Rule::kPolicyMissing, Span::kInPlace, AnchorsPolicyMissing, PolicyMissingStarts,
            SettledByNothing, true},
    RuleRow{Rule::kPostRemovalWatch, Span::kAfterRemoval, IsRemoval, WatchStarts, SettledByLastLook,
            false},
};

}  // namespace

std::span<const RuleRow> RuleTable() { return kRules; }

}  // namespace dwell::due
