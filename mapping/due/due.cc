#include "mapping/due/due.h"

#include <array>

#include "mapping/due/rules.h"

namespace dwell::due {
namespace {

constexpr std::array<std::string_view, 7> kRuleCodes = {
    "removal-due",        "site-check-due",           "dressing-change-due", "remove-now",
    "post-removal-watch", "insertion-record-missing", "policy-missing"};

constexpr std::array<std::string_view, 7> kStageCodes = {
    "not-yet-due", "due-soon", "due", "overdue", "settled", "no-longer-needed", "entered-in-error"};

constexpr std::size_t kStepsMax = 3;  // one for each priority above routine

/// The steps by which an open due gets more urgent, whichever way the policy tells them.
struct Steps {
  std::array<EscalationStep, kStepsMax> at{};
  std::size_t count = 0;

  explicit Steps(const Timing& timing) {
    if (timing.escalation->empty()) {
      at[0] = {std::chrono::minutes(0), Priority::kUrgent};
      at[1] = {timing.grace, Priority::kAsap};
      count = 2;
      return;
    }
    for (const EscalationStep& step : *timing.escalation) at.at(count++) = step;
  }
};

}  // namespace

std::string_view RuleCode(Rule rule) { return kRuleCodes.at(static_cast<std::size_t>(rule)); }

std::string_view StageCode(Stage stage) { return kStageCodes.at(static_cast<std::size_t>(stage)); }

Progress ProgressAt(Instant due_at, const Timing& timing, Instant now) {
  Progress progress;
  const auto pass = [&](Instant at) {
    if (now >= at) return true;
    if (!progress.changes_at || at < *progress.changes_at) progress.changes_at = at;
    return false;
  };
  if (pass(due_at - timing.due_soon)) progress.stage = Stage::kDueSoon;
  if (pass(due_at)) progress.stage = Stage::kDue;
  if (pass(due_at + timing.grace)) progress.stage = Stage::kOverdue;
  const Steps steps(timing);
  for (std::size_t i = 0; i < steps.count; ++i) {
    if (!pass(due_at + steps.at.at(i).after)) continue;
    progress.priority = steps.at.at(i).priority;
    progress.escalation = i + 1;
  }
  return progress;
}

std::optional<Instant> NextChange(const std::vector<Due>& dues) {
  std::optional<Instant> next;
  for (const Due& due : dues) {
    if (due.changes_at && (!next || *due.changes_at < *next)) next = due.changes_at;
  }
  return next;
}

}  // namespace dwell::due
