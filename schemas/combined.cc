// allOf, anyOf, oneOf and not; and which violations to report when no alternative fits.
#include <algorithm>

#include "schemas/check.h"
#include "schemas/report.h"

namespace dwell::schemas {
namespace {

/// How far a value is from an alternative. What names the kind of thing weighs more than all else:
/// a listed text or type that does not fit at the value itself or at its members.
std::size_t Distance(const std::vector<Violation>& violations, const std::string& at) {
  constexpr std::size_t kWrongKind = 1000;
  std::size_t distance = violations.size();
  for (const Violation& violation : violations) {
    const bool near = violation.pointer.find('/', at.size() + 1) == std::string::npos;
    if (near && (violation.rule == "enum" || violation.rule == "type")) distance += kWrongKind;
  }
  return distance;
}

}  // namespace

bool Checker::CheckCombined(const Rule& rule, Value value) {
  bool ok = true;
  for (RuleIndex part : rule.all_of) {
    if (!ok && stops()) return false;
    ok &= Check(part, value);
  }
  for (const Alternatives& alternatives : rule.alternatives) {
    if (!ok && stops()) return false;
    ok &= alternatives.discriminator.empty() || !value.is_object()
              ? CheckAlternatives(alternatives, value)
              : CheckDiscriminated(alternatives, value);
  }
  if (rule.negated != kNoRule && Checker(schema_, nullptr, 0).Check(rule.negated, value)) {
    ok = Refuse(value, "not", "something that this part of the schema does not exclude");
  }
  return ok;
}

bool Checker::CheckAlternatives(const Alternatives& alternatives, Value value) {
  std::size_t matches = 0;
  for (RuleIndex alternative : alternatives.rules) {
    if (!Checker(schema_, nullptr, 0).Check(alternative, value)) continue;
    if (!alternatives.exactly_one) return true;
    ++matches;
  }
  if (matches == 1) return true;
  if (matches > 1) return Refuse(value, "oneOf", "only one of the alternatives at a time");
  return ReportNearest(alternatives, value);
}

bool Checker::CheckDiscriminated(const Alternatives& alternatives, Value value) {
  const auto member = value.Find(alternatives.discriminator);
  if (!member) return RefuseMissing(value, alternatives.discriminator, "required");
  const auto& table = alternatives.by_text;
  if (member->is_string()) {
    const auto row = std::lower_bound(
        table.begin(), table.end(), member->AsString(),
        [](const auto& entry, std::string_view text) { return entry.first < text; });
    if (row != table.end() && row->first == member->AsString()) return Check(row->second, value);
  }
  std::vector<std::string_view> texts;
  texts.reserve(table.size());
  for (const auto& [text, rule] : table) texts.push_back(text);
  return Refuse(*member, "enum", report_ != nullptr ? DescribeTexts(texts) : "");
}

bool Checker::ReportNearest(const Alternatives& alternatives, Value value) {
  if (report_ == nullptr) return false;
  const std::string at = value.Pointer();
  std::vector<Violation> nearest;
  for (RuleIndex alternative : alternatives.rules) {
    std::vector<Violation> violations;
    Checker(schema_, &violations, violations_max_).Check(alternative, value);
    if (nearest.empty() || Distance(violations, at) < Distance(nearest, at)) {
      nearest = std::move(violations);
    }
  }
  for (Violation& violation : nearest) {
    Note(std::move(violation.pointer), violation.rule, violation.expected);
  }
  return false;
}

}  // namespace dwell::schemas
