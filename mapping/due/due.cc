#include "mapping/due/due.h"

#include <algorithm>
#include <array>

#include "mapping/due/rules.h"

namespace dwell::due {
namespace {

constexpr std::array<std::string_view, 7> kRuleCodes = {
    "removal-due",        "site-check-due",           "dressing-change-due", "remove-now",
    "post-removal-watch", "insertion-record-missing", "policy-missing"};

constexpr std::array<std::string_view, 7> kStageCodes = {
    "not-yet-due", "due-soon", "due", "overdue", "settled", "no-longer-needed", "entered-in-error"};

bool IsOpen(Stage stage) { return stage <= Stage::kOverdue; }

}  // namespace

std::string_view RuleCode(Rule rule) { return kRuleCodes.at(static_cast<std::size_t>(rule)); }

std::string_view StageCode(Stage stage) { return kStageCodes.at(static_cast<std::size_t>(stage)); }

Stage OpenStage(Instant due_at, const Policy& policy, Instant now) {
  if (now >= due_at + policy.grace) return Stage::kOverdue;
  if (now >= due_at) return Stage::kDue;
  if (now >= due_at - policy.due_soon) return Stage::kDueSoon;
  return Stage::kNotYetDue;
}

std::optional<Instant> NextChange(const std::vector<Due>& dues, const Policy& policy, Instant now) {
  std::optional<Instant> next;
  for (const Due& due : dues) {
    if (!IsOpen(due.stage)) continue;
    for (const Instant at : {due.due_at - policy.due_soon, due.due_at, due.due_at + policy.grace}) {
      if (at > now && (!next || at < *next)) next = at;
    }
  }
  return next;
}

}  // namespace dwell::due
