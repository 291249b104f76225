#include "mapping/due/policy.h"

#include <algorithm>
#include <array>

namespace dwell::due {

std::string_view PriorityCode(Priority priority) {
  constexpr std::array<std::string_view, 4> kCodes = {"routine", "urgent", "asap", "stat"};
  return kCodes.at(static_cast<std::size_t>(priority));
}

std::optional<int> LineRules::RemovalGrade(std::string_view scale) const {
  const auto own = remove_at_grade_of_scale.find(scale);
  return own != remove_at_grade_of_scale.end() ? own->second : remove_at_phlebitis_grade;
}

bool LineRules::Grades(std::string_view scale) const {
  if (remove_at_grade_of_scale.empty()) return remove_at_phlebitis_grade.has_value();
  return remove_at_grade_of_scale.contains(scale);
}

const LineRules* Policy::Find(std::string_view ward, std::string_view kind) const {
  if (!by_ward.empty()) {
    if (const auto at_ward = by_ward.find(ward); at_ward != by_ward.end()) {
      const auto rules = at_ward->second.find(kind);
      if (rules != at_ward->second.end()) return &rules->second;
    }
  }
  const auto rules = by_kind.find(kind);
  return rules == by_kind.end() ? nullptr : &rules->second;
}

std::chrono::minutes Policy::check_after_removal_max() const {
  auto longest = watch;
  const auto look = [&longest](const auto& kinds) {
    for (const auto& [kind, rules] : kinds)
      longest = std::max(longest, rules.watch.value_or(longest));
  };
  look(by_kind);
  for (const auto& [ward, kinds] : by_ward) look(kinds);
  return longest + std::chrono::hours(24);
}

Timing TimingOf(const Policy& policy, const LineRules* rules) {
  if (rules == nullptr) return {policy.due_soon, policy.grace, &policy.escalation};
  const bool own_steps = !rules->escalation.empty();
  return {rules->due_soon.value_or(policy.due_soon), rules->grace.value_or(policy.grace),
          own_steps ? &rules->escalation : &policy.escalation};
}

std::chrono::minutes WatchOf(const Policy& policy, const LineRules* rules) {
  return rules != nullptr ? rules->watch.value_or(policy.watch) : policy.watch;
}

}  // namespace dwell::due
