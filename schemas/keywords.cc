// The keywords whose value holds no other schema.
#include <algorithm>
#include <array>
#include <charconv>

#include "schemas/compile.h"
#include "schemas/decimal.h"

namespace dwell::schemas {
namespace {

constexpr std::array<std::pair<std::string_view, TypeBit>, 7> kTypes = {
    {{"null", kNullType},
     {"boolean", kBoolType},
     {"number", kNumberType},
     {"string", kStringType},
     {"array", kArrayType},
     {"object", kObjectType},
     {"integer", kIntegerType}}};

Problem AddType(Value name, Rule* rule) {
  if (!name.is_string()) return "type must be a name or a list of names";
  for (const auto& [text, bit] : kTypes) {
    if (text != name.AsString()) continue;
    rule->types |= bit;
    return {};
  }
  return "unknown type";
}

Problem Type(Value, Value value, Rule* rule) {
  rule->types = 0;
  if (!value.is_array()) return AddType(value, rule);
  for (Value name : value) {
    if (Problem problem = AddType(name, rule); !problem.empty()) return problem;
  }
  return rule->types == 0 ? "no type at all" : "";
}

Problem Enum(Value, Value value, Rule* rule) {
  if (!value.is_array() || value.size() == 0) return "enum must be a list with values";
  rule->allowed.assign(value.begin(), value.end());
  for (Value allowed : value) {
    if (allowed.is_string()) rule->texts.push_back(allowed.AsString());
  }
  std::sort(rule->texts.begin(), rule->texts.end(), ShorterFirst);
  return {};
}

/// The members of a list of names; false when it is none.
bool ReadNames(Value value, std::vector<std::string_view>* names) {
  if (!value.is_array() || value.size() == 0) return false;
  for (Value name : value) {
    if (!name.is_string()) return false;
    names->push_back(name.AsString());
  }
  return true;
}

Problem Required(Value, Value value, Rule* rule) {
  std::vector<std::string_view> names;
  if (!ReadNames(value, &names)) return "required must be a list of names";
  for (std::string_view name : names) {
    const std::uint32_t slot = SlotOf(rule, name);
    SetBit(&rule->object->required, slot);
  }
  return {};
}

PrimitiveSlots PrimitiveOf(Rule* rule, std::string_view name) {
  const std::uint32_t value = SlotOf(rule, name);
  return {value, SlotOf(rule, "_" + std::string(name))};
}

Problem RequiredPrimitives(Value, Value value, Rule* rule) {
  std::vector<std::string_view> names;
  if (!ReadNames(value, &names)) return "must be a list of names";
  for (std::string_view name : names) {
    const PrimitiveSlots slots = PrimitiveOf(rule, name);
    rule->object->required_primitives.push_back(slots);
  }
  return {};
}

Problem ReadCount(Value value, std::size_t* count) {
  if (value.is_number() && IsIntegerText(value.NumberText())) {
    const std::string_view text = value.NumberText();
    const char* end = text.data() + text.size();
    if (std::from_chars(text.data(), end, *count).ptr == end) return {};
  }
  return "must be a whole number, 0 or more";
}

Problem Choices(Value, Value value, Rule* rule) {
  if (!value.is_array()) return "must be a list";
  for (Value row : value) {
    if (!row.is_object() || row.size() != 2) return "each choice has `of` and `min`";
    const auto of = row.Find("of");
    const auto min = row.Find("min");
    std::vector<std::string_view> names;
    Choice choice;
    if (!of || !min || !ReadNames(*of, &names)) return "each choice has `of` and `min`";
    if (Problem problem = ReadCount(*min, &choice.min); !problem.empty()) return problem;
    if (choice.min > 1) return "min must be 0 or 1";
    for (std::string_view name : names) {
      choice.of.push_back(PrimitiveOf(rule, name));
      SetBit(&choice.mask, choice.of.back().value);
      SetBit(&choice.mask, choice.of.back().shadow);
    }
    rule->object->choices.push_back(std::move(choice));
  }
  return {};
}

Problem References(Value, Value value, Rule* rule) {
  std::vector<std::string_view> names;
  if (!ReadNames(value, &names)) return "must be a list of resource types";
  rule->references.assign(names.begin(), names.end());
  return {};
}

Problem MinProperties(Value, Value value, Rule* rule) {
  return ReadCount(value, &Need(&rule->object).members_min);
}
Problem MaxProperties(Value, Value value, Rule* rule) {
  return ReadCount(value, &Need(&rule->object).members_max);
}
Problem MinItems(Value, Value value, Rule* rule) {
  return ReadCount(value, &Need(&rule->array).min);
}
Problem MaxItems(Value, Value value, Rule* rule) {
  return ReadCount(value, &Need(&rule->array).max);
}
Problem MinLength(Value, Value value, Rule* rule) {
  return ReadCount(value, &Need(&rule->text).min);
}
Problem MaxLength(Value, Value value, Rule* rule) {
  return ReadCount(value, &Need(&rule->text).max);
}

Problem ReadBool(Value value, bool* truth) {
  if (!value.is_bool()) return "must be true or false";
  *truth = value.AsBool();
  return {};
}

Problem UniqueItems(Value, Value value, Rule* rule) {
  return ReadBool(value, &Need(&rule->array).unique);
}

Problem Pattern(Value, Value value, Rule* rule) {
  const Format* pattern = value.is_string() ? FindPattern(value.AsString()) : nullptr;
  if (pattern == nullptr) return "no matcher for this pattern";
  Need(&rule->text).formats.push_back(pattern);
  return {};
}

Problem FormatName(Value, Value value, Rule* rule) {
  const Format* format = value.is_string() ? FindFormat(value.AsString()) : nullptr;
  if (format == nullptr) return "no matcher for this format";
  if (format->of_numbers) {
    Need(&rule->text).number_format = format;
  } else {
    Need(&rule->text).formats.push_back(format);
  }
  return {};
}

Problem ReadLimit(Value value, std::string* limit) {
  if (!value.is_number()) return "must be a number";
  *limit = value.NumberText();
  return {};
}

Problem Minimum(Value, Value value, Rule* rule) {
  return ReadLimit(value, &Need(&rule->number).min);
}
Problem Maximum(Value, Value value, Rule* rule) {
  return ReadLimit(value, &Need(&rule->number).max);
}
Problem ExclusiveMinimum(Value schema, Value value, Rule* rule) {
  if (!schema.Find("minimum")) return "needs minimum beside it";
  return ReadBool(value, &Need(&rule->number).min_excluded);
}
Problem ExclusiveMaximum(Value schema, Value value, Rule* rule) {
  if (!schema.Find("maximum")) return "needs maximum beside it";
  return ReadBool(value, &Need(&rule->number).max_excluded);
}

Problem Annotation(Value, Value value, Rule*) { return value.is_string() ? "" : "must be a text"; }

struct Row {
  std::string_view name;
  PlainKeyword compile;
};
constexpr std::array kKeywords = {
    Row{"type", Type},
    Row{"enum", Enum},
    Row{"required", Required},
    Row{"minProperties", MinProperties},
    Row{"maxProperties", MaxProperties},
    Row{"minItems", MinItems},
    Row{"maxItems", MaxItems},
    Row{"uniqueItems", UniqueItems},
    Row{"minLength", MinLength},
    Row{"maxLength", MaxLength},
    Row{"pattern", Pattern},
    Row{"format", FormatName},
    Row{"minimum", Minimum},
    Row{"maximum", Maximum},
    Row{"exclusiveMinimum", ExclusiveMinimum},
    Row{"exclusiveMaximum", ExclusiveMaximum},
    Row{"dwell:choices", Choices},
    Row{"dwell:requiredPrimitives", RequiredPrimitives},
    Row{"dwell:references", References},
    Row{"title", Annotation},
    Row{"description", Annotation},
    Row{"$schema", Annotation},
};

}  // namespace

PlainKeyword FindPlainKeyword(std::string_view name) {
  const auto row = std::find_if(kKeywords.begin(), kKeywords.end(),
                                [name](const Row& keyword) { return keyword.name == name; });
  return row == kKeywords.end() ? nullptr : row->compile;
}

std::uint32_t SlotOf(Rule* rule, std::string_view name) {
  auto& slots = Need(&rule->object).slots;
  const auto found = std::find_if(slots.begin(), slots.end(),
                                  [name](const Slot& slot) { return slot.name == name; });
  if (found != slots.end()) return static_cast<std::uint32_t>(found - slots.begin());
  slots.push_back({std::string(name), NameHash(name), false, kNoRule});
  return static_cast<std::uint32_t>(slots.size() - 1);
}

void SetBit(BitWords* words, std::uint32_t bit) {
  if (words->size() <= bit / 64) words->resize(bit / 64 + 1);
  (*words)[bit / 64] |= std::uint64_t{1} << (bit % 64);
}

}  // namespace dwell::schemas
