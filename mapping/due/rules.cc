#include "mapping/due/rules.h"

#include <algorithm>
#include <array>

#include "mapping/due/grades.h"

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

// The dwell limit, in elapsed time.

std::optional<Start> RemovalStarts(const Event& event, const Frame& frame) {
  if (frame.rules == nullptr) return std::nullopt;
  auto limit = frame.rules->dwell_max;
  const auto& emergency = frame.rules->dwell_max_emergency;
  if (emergency && std::get<event::Insertion>(event.body).emergency) limit = emergency;
  if (!limit) return std::nullopt;
  return Start{event.happened.instant + *limit, {}};
}

// Site checks, at the rounds of the ward or so long after the last one.

bool AnchorsSiteCheck(const Event& event, const Frame&) {
  return event.kind() == Kind::kInsertion || event.kind() == Kind::kSiteCheck;
}

/// A check made a little before a round is that round's check: at most the due-soon time before,
/// and never as early as half the way to the following round. Otherwise a check at 13:50 would be
/// asked for again at 14:00. Common practice, no source.
std::optional<Start> SiteCheckStarts(const Event& event, const Frame& frame) {
  if (frame.rules == nullptr) return std::nullopt;
  const Instant happened = event.happened.instant;
  if (frame.rules->check_interval) return Start{happened + *frame.rules->check_interval, {}};
  if (frame.rules->check_rounds.empty()) return std::nullopt;
  const Instant next = frame.zone.NextRound(happened, frame.rules->check_rounds);
  const auto early_max = TimingOf(frame.policy, frame.rules).due_soon;
  if (event.kind() == Kind::kInsertion || next - happened > early_max) {
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

std::string_view PhlebitisTrigger(const event::SiteCheck& check, const LineRules& rules) {
  if (check.grade) {
    const auto limit = rules.RemovalGrade(check.grade->scale);
    if (limit && check.grade->value >= *limit) return "phlebitis-grade";
  }
  for (const std::string_view scale : kPhlebitisScales) {
    const auto limit = rules.RemovalGrade(scale);
    if (!limit || !rules.Grades(scale)) continue;
    if (PhlebitisGradeProven(scale, check.signs) >= *limit) return "phlebitis-signs";
  }
  // Possible is enough: a sign whose measure nobody told is not a small one.
  const bool defined = rules.remove_on_trial_phlebitis &&
                       TrialPhlebitisOf(check.signs, check.measures) != TrialPhlebitis::kNotMet;
  return defined ? "phlebitis-definition" : std::string_view();
}

std::string_view InfiltrationTrigger(const event::SiteCheck& check, const Frame& frame) {
  const auto& limit = frame.rules->remove_at_infiltration_grade;
  if (!limit) return {};
  if (check.infiltration_grade && *check.infiltration_grade >= *limit) return "infiltration-grade";
  const auto* infusions = frame.care.infusions;
  const bool harmful = infusions != nullptr && IsHarmful(*infusions);
  const int proven = InfiltrationGradeProven(check.signs, check.measures, harmful);
  return proven >= *limit ? "infiltration-signs" : std::string_view();
}

std::string_view CheckTrigger(const event::SiteCheck& check, const Frame& frame) {
  const LineRules& rules = *frame.rules;
  if (const auto phlebitis = PhlebitisTrigger(check, rules); !phlebitis.empty()) return phlebitis;
  const auto infiltration = InfiltrationTrigger(check, frame);
  if (!infiltration.empty()) return infiltration;
  if (rules.remove_on_swelling_at_flush && Swelled(check.flush)) return "swelling-on-flush";
  if (rules.remove_when_not_needed && check.still_needed == event::Answer::kNo) {
    return "no-longer-required";
  }
  return {};
}

/// Why the event means that the line must come out; empty when it does not.
std::string_view Trigger(const Event& event, const Frame& frame) {
  if (const auto* check = std::get_if<event::SiteCheck>(&event.body)) {
    return CheckTrigger(*check, frame);
  }
  const auto* placed = std::get_if<event::Insertion>(&event.body);
  const auto* flush = std::get_if<event::Flush>(&event.body);
  const bool swelled = (placed != nullptr && Swelled(placed->flush)) ||
                       (flush != nullptr && flush->flush.swelling == Finding::kPresent);
  return swelled && frame.rules->remove_on_swelling_at_flush ? "swelling-on-flush"
                                                             : std::string_view();
}

bool AnchorsRemoveNow(const Event& event, const Frame& frame) {
  return frame.rules != nullptr && !Trigger(event, frame).empty();
}

std::optional<Start> RemoveNowStarts(const Event& event, const Frame& frame) {
  if (!AnchorsRemoveNow(event, frame)) return std::nullopt;
  return Start{event.happened.instant, Trigger(event, frame)};
}

// No row for this kind of line on this ward, or none for a name that the ward told.

bool Knows(const Names& names, const std::vector<event::Code>* told) {
  return told == nullptr ||
         std::ranges::all_of(*told, [&](const auto& name) { return names.contains(name); });
}

/// The reason why the policy has no rule under this care; empty when it knows every name.
std::string_view UnknownName(const Care& care, const Policy& policy) {
  if (!Knows(policy.patient_groups, care.patient_groups)) return "patient-group-unknown";
  return Knows(policy.infusions, care.infusions) ? std::string_view() : "infusion-unknown";
}

/// By what the event itself tells.
std::string_view UnknownName(const Event& event, const Policy& policy) {
  Care care;
  care.Take(event);
  return UnknownName(care, policy);
}

bool AnchorsPolicyMissing(const Event& event, const Frame& frame) {
  if (event.kind() == Kind::kRemoval) return false;
  return frame.rules == nullptr || !UnknownName(event, frame.policy).empty();
}

std::optional<Start> PolicyMissingStarts(const Event& event, const Frame& frame) {
  if (frame.rules == nullptr) return Start{event.happened.instant, {}};
  const std::string_view unknown = UnknownName(event, frame.policy);
  if (unknown.empty()) return std::nullopt;
  return Start{event.happened.instant, unknown};
}

/// The ward tells names anew, and the policy knows all that hold now.
bool SettledByKnownNames(const Event& event, Instant, const Frame& frame) {
  if (frame.rules == nullptr || (!event.patient_groups && !event.infusions)) return false;
  Care care = frame.care;
  care.Take(event);
  return UnknownName(care, frame.policy).empty();
}

// The site after the removal.

std::optional<Start> WatchStarts(const Event& event, const Frame& frame) {
  const auto watch = WatchOf(frame.policy, frame.rules);
  if (watch <= watch.zero()) return std::nullopt;
  return Start{event.happened.instant + watch, {}};
}

/// Looks before the end of the watch are welcome but do not end it.
bool SettledByLastLook(const Event& event, Instant due_at, const Frame& frame) {
  return event.kind() == Kind::kSiteCheck &&
         event.happened.instant >= due_at - TimingOf(frame.policy, frame.rules).due_soon;
}

constexpr std::array kRules = {
    RuleRow{Rule::kRemoval, Span::kInPlace, IsInsertion, RemovalStarts, SettledByRemoval, true,
            false},
    RuleRow{Rule::kSiteCheck, Span::kInPlace, AnchorsSiteCheck, SiteCheckStarts, SettledBySiteCheck,
            true, true},
    RuleRow{Rule::kDressing, Span::kInPlace, AnchorsDressing, DressingStarts, SettledByDressing,
            true, false},
    RuleRow{Rule::kRemoveNow, Span::kInPlace, AnchorsRemoveNow, RemoveNowStarts, SettledByRemoval,
            false, false},
    RuleRow{Rule::kPolicyMissing, Span::kInPlace, AnchorsPolicyMissing, PolicyMissingStarts,
            SettledByKnownNames, true, false},
    RuleRow{Rule::kPostRemovalWatch, Span::kAfterRemoval, IsRemoval, WatchStarts, SettledByLastLook,
            false, false},
};

/// The tightest interval of one sort under what was told of it.
void Tighten(const MinutesByName& intervals, const Names& known,
             const std::vector<event::Code>* told, std::optional<std::chrono::minutes>* tightest) {
  if (told == nullptr || intervals.empty()) return;
  const auto lower = [tightest](std::chrono::minutes interval) {
    if (!*tightest || interval < **tightest) *tightest = interval;
  };
  for (const event::Code& name : *told) {
    if (const auto own = intervals.find(name); own != intervals.end()) {
      lower(own->second);
    } else if (!known.contains(name)) {
      for (const auto& [other, interval] : intervals) lower(interval);
    }
  }
}

}  // namespace

void Care::Take(const Event& event) {
  if (event.patient_groups) patient_groups = &*event.patient_groups;
  if (event.infusions) infusions = &*event.infusions;
}

std::optional<std::chrono::minutes> TighterInterval(const Frame& frame) {
  std::optional<std::chrono::minutes> tightest;
  if (frame.rules == nullptr) return tightest;
  const Policy& policy = frame.policy;
  Tighten(frame.rules->check_interval_by_patient_group, policy.patient_groups,
          frame.care.patient_groups, &tightest);
  Tighten(frame.rules->check_interval_by_infusion, policy.infusions, frame.care.infusions,
          &tightest);
  return tightest;
}

std::span<const RuleRow> RuleTable() { return kRules; }

}  // namespace dwell::due
