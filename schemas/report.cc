#include "schemas/report.h"

#include <array>
#include <utility>

#include "schemas/check.h"

namespace dwell::schemas {
namespace {

/// A list in a report ends here: the schema itself is the place to look for more.
constexpr std::size_t kListedMax = 20;
/// A longer member name is not repeated: its object is pointed at.
constexpr std::size_t kReportedNameBytesMax = 64;

template <class Range, class Text>
std::string List(std::string_view head, const Range& range, const Text& text) {
  std::string list(head);
  std::size_t count = 0;
  for (const auto& item : range) {
    if (count == kListedMax) return list + ", ...";
    if (count++ > 0) list += ", ";
    list += text(item);
  }
  return list;
}

std::string TextOf(Value value) {
  switch (value.kind()) {
    case Kind::kString:
      return std::string(value.AsString());
    case Kind::kNumber:
      return std::string(value.NumberText());
    case Kind::kBool:
      return value.AsBool() ? "true" : "false";
    case Kind::kNull:
      return "null";
    case Kind::kArray:
      return "an array";
    case Kind::kObject:
      break;
  }
  return "an object";
}

}  // namespace

std::string DescribeTypes(std::uint8_t types) {
  constexpr std::array<std::pair<TypeBit, std::string_view>, 7> kNames = {
      {{kNullType, "null"},
       {kBoolType, "true or false"},
       {kNumberType, "a number"},
       {kStringType, "a text"},
       {kArrayType, "an array"},
       {kObjectType, "an object"},
       {kIntegerType, "a whole number without fraction or exponent"}}};
  std::string text;
  for (const auto& [bit, name] : kNames) {
    if ((types & bit) == 0) continue;
    if (!text.empty()) text += " or ";
    text += name;
  }
  return text;
}

std::string DescribeTexts(const std::vector<std::string_view>& texts) {
  return List("one of: ", texts, [](std::string_view text) { return std::string(text); });
}

std::string DescribeValues(const std::vector<Value>& values) {
  return List("one of: ", values, TextOf);
}

std::string DescribeTargets(const std::vector<std::string>& references) {
  return List("a reference to: ", references, [](const std::string& name) { return name; });
}

std::string DescribeChoice(const ObjectRule& rule, const Choice& choice, std::size_t present) {
  return List(present == 0 ? "one of: " : "only one of: ", choice.of,
              [&rule](const PrimitiveSlots& slots) { return rule.slots[slots.value].name; });
}

bool Checker::Note(std::string pointer, std::string_view rule, std::string_view expected) {
  if (stops()) return false;
  const auto same = [&](const Violation& v) { return v.pointer == pointer && v.rule == rule; };
  for (const Violation& violation : *report_) {
    if (same(violation)) return false;  // two keywords of one schema may ask for the same
  }
  report_->push_back({std::move(pointer), std::string(rule), std::string(expected)});
  return false;
}

bool Checker::Refuse(Value value, std::string_view rule, std::string_view expected) {
  if (stops()) return false;
  const bool long_name = value.name().size() > kReportedNameBytesMax;
  return Note(long_name ? value.parent()->Pointer() : value.Pointer(), rule, expected);
}

bool Checker::RefuseMissing(Value object, std::string_view name, std::string_view rule) {
  if (stops()) return false;
  return Note(object.Pointer() + "/" + PointerToken(name), rule, "this member");
}

}  // namespace dwell::schemas
