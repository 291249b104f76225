#include "schemas/check.h"

#include <algorithm>
#include <bit>

#include "schemas/decimal.h"
#include "schemas/json/utf8.h"
#include "schemas/reference.h"
#include "schemas/report.h"

namespace dwell::schemas {
namespace {

/// Rules applied inside rules; documents of 32 levels stay far below.
constexpr std::size_t kDepthMax = 256;
/// Slots up to this number are counted on the stack.
constexpr std::size_t kStackWords = 4;

std::uint8_t TypeBits(Value value) {
  switch (value.kind()) {
    case Kind::kNull:
      return kNullType;
    case Kind::kBool:
      return kBoolType;
    case Kind::kNumber:
      return IsIntegerText(value.NumberText()) ? kNumberType | kIntegerType : kNumberType;
    case Kind::kString:
      return kStringType;
    case Kind::kArray:
      return kArrayType;
    case Kind::kObject:
      return kObjectType;
  }
  return 0;
}

bool Has(const std::uint64_t* seen, std::uint32_t slot) {
  return (seen[slot / 64] >> (slot % 64) & 1) != 0;
}

bool Has(const std::uint64_t* seen, const PrimitiveSlots& slots) {
  return Has(seen, slots.value) || Has(seen, slots.shadow);
}

}  // namespace

bool Checker::Check(RuleIndex index, Value value) {
  if (index == kNoRule) return true;
  const Rule& rule = schema_.rules[index];
  if (rule.types != kAnyType && (rule.types & TypeBits(value)) == 0) {
    return Refuse(value, "type", report_ != nullptr ? DescribeTypes(rule.types) : "");
  }
  if (depth_ >= kDepthMax) return Refuse(value, "depth", "fewer levels");
  ++depth_;
  bool ok = CheckOwn(rule, value);
  if (rule.combined && (ok || !stops())) ok &= CheckCombined(rule, value);
  --depth_;
  return ok;
}

bool Checker::CheckOwn(const Rule& rule, Value value) {
  bool ok = rule.allowed.empty() || CheckEnum(rule, value);
  if (!ok && stops()) return false;
  switch (value.kind()) {
    case Kind::kString:
      if (rule.text) ok &= CheckText(*rule.text, value, value.AsString());
      break;
    case Kind::kNumber:
      ok &= CheckNumber(rule, value);
      break;
    case Kind::kArray:
      if (rule.array) ok &= CheckArray(*rule.array, value);
      break;
    case Kind::kObject:
      if (rule.object) ok &= CheckObject(*rule.object, value);
      if (!rule.references.empty() && (ok || !stops())) ok &= CheckReference(rule, value);
      break;
    case Kind::kNull:
    case Kind::kBool:
      break;
  }
  return ok;
}

bool Checker::CheckEnum(const Rule& rule, Value value) {
  if (value.is_string()) {
    const std::string_view text = value.AsString();
    if (std::binary_search(rule.texts.begin(), rule.texts.end(), text, ShorterFirst)) return true;
  } else {
    for (const Value& allowed : rule.allowed) {
      if (Equal(allowed, value)) return true;
    }
  }
  return Refuse(value, "enum", report_ != nullptr ? DescribeValues(rule.allowed) : "");
}

bool Checker::CheckText(const TextRule& rule, Value value, std::string_view text) {
  bool ok = true;
  // A text has no more code points than bytes and, in UTF-8, no fewer than a quarter of them.
  if (text.size() > rule.max && CountCodePoints(text) > rule.max) {
    ok = Refuse(value, "maxLength", "at most " + std::to_string(rule.max) + " characters");
  }
  if (rule.min > 0 && text.size() < rule.min * 4 && CountCodePoints(text) < rule.min) {
    ok = Refuse(value, "minLength", "at least " + std::to_string(rule.min) + " characters");
  }
  if (!ok) return false;  // of a text without its length nothing else needs to be said
  for (const Format* format : rule.formats) {
    if (format->matches(text)) continue;
    ok = Refuse(value, format->name.starts_with('^') ? "pattern" : format->name, format->expected);
  }
  return ok;
}

bool Checker::CheckNumber(const Rule& rule, Value value) {
  const std::string_view text = value.NumberText();
  bool ok = true;
  if (rule.text && rule.text->number_format && !rule.text->number_format->matches(text)) {
    ok = Refuse(value, rule.text->number_format->name, rule.text->number_format->expected);
  }
  if (!rule.number) return ok;
  const NumberRule& limits = *rule.number;
  if (!limits.min.empty()) {
    const auto order = CompareDecimals(text, limits.min);
    if (std::is_lt(order) || (std::is_eq(order) && limits.min_excluded)) {
      ok =
          Refuse(value, "minimum", (limits.min_excluded ? "more than " : "at least ") + limits.min);
    }
  }
  if (!limits.max.empty()) {
    const auto order = CompareDecimals(text, limits.max);
    if (std::is_gt(order) || (std::is_eq(order) && limits.max_excluded)) {
      ok = Refuse(value, "maximum", (limits.max_excluded ? "less than " : "at most ") + limits.max);
    }
  }
  return ok;
}

bool Checker::CheckArray(const ArrayRule& rule, Value value) {
  bool ok = true;
  if (value.size() < rule.min) {
    ok = Refuse(value, "minItems", "at least " + std::to_string(rule.min) + " elements");
  }
  if (value.size() > rule.max) {
    return Refuse(value, "maxItems", "at most " + std::to_string(rule.max) + " elements");
  }
  if (rule.items != kNoRule) {
    for (std::optional<Value> at = value.first(); at && (ok || !stops()); at = at->next()) {
      ok &= Check(rule.items, *at);
    }
  }
  if (ok && rule.unique && !AllDiffer(value)) {
    ok = Refuse(value, "uniqueItems", "each element once");
  }
  return ok;
}

bool Checker::CheckObject(const ObjectRule& rule, Value value) {
  std::uint64_t small[kStackWords] = {};
  std::vector<std::uint64_t> large;
  std::uint64_t* seen = small;
  if (rule.words > kStackWords) {
    large.resize(rule.words);
    seen = large.data();
  }
  bool ok = CheckMembers(rule, value, seen);
  if (ok || !stops()) ok &= CheckPresence(rule, value, seen);
  return ok;
}

bool Checker::CheckMembers(const ObjectRule& rule, Value value, std::uint64_t* seen) {
  if (rule.presence_only) {
    for (std::size_t bit = 0; bit < rule.slots.size(); ++bit) {
      if (value.Find(rule.slots[bit].name)) seen[0] |= std::uint64_t{1} << bit;
    }
    return true;
  }
  bool ok = true;
  for (std::optional<Value> at = value.first(); at && (ok || !stops()); at = at->next()) {
    const Slot* slot = rule.Find(at->name(), at->name_hash());
    if (slot != nullptr) {
      const auto bit = static_cast<std::size_t>(slot - rule.slots.data());
      seen[bit / 64] |= std::uint64_t{1} << (bit % 64);
    }
    if (slot != nullptr && slot->declared) {
      ok &= Check(slot->rule, *at);
    } else if (!rule.others_allowed) {
      ok &= Refuse(*at, "additionalProperties", "a member of the schema");
    } else {
      ok &= Check(rule.others, *at);
    }
  }
  return ok;
}

bool Checker::CheckPresence(const ObjectRule& rule, Value value, const std::uint64_t* seen) {
  bool ok = AllPresent(rule, rule.required, "required", value, seen);
  if (value.size() < rule.members_min) {
    ok = Refuse(value, "minProperties", "at least " + std::to_string(rule.members_min));
  }
  if (value.size() > rule.members_max) {
    ok = Refuse(value, "maxProperties", "at most " + std::to_string(rule.members_max));
  }
  for (const PrimitiveSlots& slots : rule.required_primitives) {
    if (!Has(seen, slots)) ok = RefuseMissing(value, rule.slots[slots.value].name, "required");
  }
  for (const Choice& choice : rule.choices) ok &= CheckChoice(rule, choice, value, seen);
  for (const Dependency& row : rule.dependencies) {
    if (Has(seen, row.slot)) ok &= CheckDependency(rule, row, value, seen);
  }
  return ok;
}

bool Checker::AllPresent(const ObjectRule& rule, const BitWords& wanted, std::string_view keyword,
                         Value value, const std::uint64_t* seen) {
  bool ok = true;
  for (std::size_t word = 0; word < rule.words; ++word) {
    for (std::uint64_t missing = wanted[word] & ~seen[word]; missing != 0; missing &= missing - 1) {
      const auto bit = static_cast<std::size_t>(std::countr_zero(missing));
      ok = RefuseMissing(value, rule.slots[word * 64 + bit].name, keyword);
    }
  }
  return ok;
}

bool Checker::CheckChoice(const ObjectRule& rule, const Choice& choice, Value value,
                          const std::uint64_t* seen) {
  int bits = 0;
  for (std::size_t word = 0; word < rule.words; ++word) {
    bits += std::popcount(choice.mask[word] & seen[word]);
  }
  if (bits == 1 || (bits == 0 && choice.min == 0)) return true;
  // Two bits may still be one member: x and _x.
  std::size_t present = 0;
  for (const PrimitiveSlots& slots : choice.of) present += Has(seen, slots) ? 1 : 0;
  if (present <= 1 && present >= choice.min) return true;
  return Refuse(value, "dwell:choices",
                report_ != nullptr ? DescribeChoice(rule, choice, present) : "");
}

bool Checker::CheckDependency(const ObjectRule& rule, const Dependency& row, Value value,
                              const std::uint64_t* seen) {
  return AllPresent(rule, row.required, "dependencies", value, seen) && Check(row.rule, value);
}

bool Checker::CheckReference(const Rule& rule, Value value) {
  const auto is_allowed = [&rule](std::string_view type) {
    return std::any_of(
        rule.references.begin(), rule.references.end(), [type](std::string_view name) {
          return (name.size() == type.size() && SameName(name, type)) || name == "Resource";
        });
  };
  bool ok = true;
  const auto refuse_type = [&](Value at) {
    ok = Refuse(at, "dwell:references", report_ != nullptr ? DescribeTargets(rule.references) : "");
  };
  const auto type = value.Find("type");
  if (type && type->is_string() && !is_allowed(type->AsString())) refuse_type(*type);
  const auto reference = value.Find("reference");
  if (!reference || !reference->is_string()) return ok;
  const auto form = ReadReference(reference->AsString());
  if (!form) return Refuse(*reference, "dwell:references", "a FHIR reference of legal form");
  if (!form->type.empty() && !is_allowed(form->type)) refuse_type(*reference);
  if (ok && type && type->is_string() && !form->type.empty() && type->AsString() != form->type) {
    ok = Refuse(*type, "dwell:references", "the type that the reference names");
  }
  return ok;
}

}  // namespace dwell::schemas
