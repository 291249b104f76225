// Applies compiled rules to a value. Inside schemas/ only.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "schemas/compiled.h"
#include "schemas/schema.h"

namespace dwell::schemas {

/// One check of one document. With nowhere to report to it stops at the first violation.
class Checker {
 public:
  /// `report` may be null.
  Checker(const CompiledSchema& schema, std::vector<Violation>* report, std::size_t violations_max)
      : schema_(schema), report_(report), violations_max_(violations_max) {}

  /// True when the value satisfies the rule.
  bool Check(RuleIndex index, Value value);

 private:
  bool CheckOwn(const Rule& rule, Value value);
  bool CheckCombined(const Rule& rule, Value value);
  bool CheckAlternatives(const Alternatives& alternatives, Value value);
  bool CheckDiscriminated(const Alternatives& alternatives, Value value);
  bool CheckEnum(const Rule& rule, Value value);
  bool CheckText(const TextRule& rule, Value value, std::string_view text);
  bool CheckNumber(const Rule& rule, Value value);
  bool CheckArray(const ArrayRule& rule, Value value);
  bool CheckObject(const ObjectRule& rule, Value value);
  bool CheckMembers(const ObjectRule& rule, Value value, std::uint64_t* seen);
  bool CheckPresence(const ObjectRule& rule, Value value, const std::uint64_t* seen);
  bool CheckChoice(const ObjectRule& rule, const Choice& choice, Value value,
                   const std::uint64_t* seen);
  bool CheckDependency(const ObjectRule& rule, const Dependency& row, Value value,
                       const std::uint64_t* seen);
  bool CheckReference(const Rule& rule, Value value);
  bool AllPresent(const ObjectRule& rule, const BitWords& wanted, std::string_view keyword,
                  Value value, const std::uint64_t* seen);
  bool ReportNearest(const Alternatives& alternatives, Value value);

  /// Each notes a violation, if that is wanted, and returns false.
  bool Refuse(Value value, std::string_view rule, std::string_view expected);
  bool RefuseMissing(Value object, std::string_view name, std::string_view rule);
  bool Note(std::string pointer, std::string_view rule, std::string_view expected);
  /// Whether to go on after a violation.
  bool stops() const { return report_ == nullptr || report_->size() >= violations_max_; }

  const CompiledSchema& schema_;
  std::vector<Violation>* report_;
  std::size_t violations_max_;
  std::size_t depth_ = 0;
};

/// Equality of JSON values (draft 04 core, 3.6): numbers by value, members in any order.
bool Equal(Value left, Value right);

/// True when no two elements of the array are equal. Time grows with n log n, whatever is sent.
bool AllDiffer(Value array);

}  // namespace dwell::schemas
