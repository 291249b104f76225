// A schema as tables. Inside schemas/ only: made by compile.cc, read by check.cc.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/formats.h"
#include "schemas/json/document.h"
#include "schemas/json/name.h"

namespace dwell::schemas {

/// A rule's place in CompiledSchema::rules.
using RuleIndex = std::uint32_t;
inline constexpr RuleIndex kNoRule = 0xFFFFFFFF;

/// A set of slots (see ObjectRule), one bit each. As many words as the object rule says.
using BitWords = std::vector<std::uint64_t>;

/// A member name that an object rule knows.
struct Slot {
  std::string name;
  std::uint32_t hash = 0;
  bool declared = false;     ///< in `properties`; otherwise it only takes part in other keywords
  RuleIndex rule = kNoRule;  ///< what its value must satisfy
};

/// A member that counts as present as `x` or as `_x`.
struct PrimitiveSlots {
  std::uint32_t value, shadow;
};

struct Choice {
  std::vector<PrimitiveSlots> of;
  BitWords mask;  ///< all slots of `of`
  std::size_t min = 0;
};

struct Dependency {
  std::uint32_t slot;
  BitWords required;
  RuleIndex rule = kNoRule;
};

struct ObjectRule {
  std::vector<Slot> slots;
  std::vector<std::uint32_t>
      table;              ///< open addressing over slots: index + 1, or 0; a power of two
  std::size_t words = 0;  ///< of every BitWords here
  BitWords required;
  bool others_allowed = true;
  bool presence_only = false;  ///< asks which members are there, not what they hold
  RuleIndex others = kNoRule;  ///< what the value of a member must satisfy that is not declared
  std::size_t members_min = 0;
  std::size_t members_max = SIZE_MAX;
  std::vector<Choice> choices;
  std::vector<PrimitiveSlots> required_primitives;
  std::vector<Dependency> dependencies;

  /// The slot of that name with that NameHash(), or null.
  const Slot* Find(std::string_view name, std::uint32_t hash) const {
    if (table.empty()) return nullptr;
    for (std::size_t at = hash & (table.size() - 1);; at = (at + 1) & (table.size() - 1)) {
      if (table[at] == 0) return nullptr;
      const Slot& slot = slots[table[at] - 1];
      if (slot.hash == hash && SameName(slot.name, name)) return &slot;
    }
  }
};

struct ArrayRule {
  RuleIndex items = kNoRule;
  std::size_t min = 0;
  std::size_t max = SIZE_MAX;
  bool unique = false;
};

/// Of strings and, for the formats of numbers, of the text of numbers.
struct TextRule {
  std::size_t min = 0;
  std::size_t max = SIZE_MAX;  ///< both in code points
  std::vector<const Format*> formats;
  const Format* number_format = nullptr;
};

struct NumberRule {
  std::string min, max;  ///< as written; empty for none
  bool min_excluded = false;
  bool max_excluded = false;
};

struct Alternatives {
  std::vector<RuleIndex> rules;
  bool exactly_one = false;  ///< oneOf; else anyOf
  /// If every alternative requires this member and each allows other texts for it, its text tells
  /// which alternative is meant. Empty otherwise.
  std::string discriminator;
  std::vector<std::pair<std::string, RuleIndex>> by_text;
};

/// An order in which most comparisons are of lengths only.
inline bool ShorterFirst(std::string_view a, std::string_view b) {
  return a.size() != b.size() ? a.size() < b.size() : a < b;
}

/// Bits of Rule::types. A number is kIntegerType too, if its text is one.
enum TypeBit : std::uint8_t {
  kNullType = 1,
  kBoolType = 2,
  kNumberType = 4,
  kStringType = 8,
  kArrayType = 16,
  kObjectType = 32,
  kIntegerType = 64,
  kAnyType = 127,
};

struct Rule {
  std::uint8_t types = kAnyType;
  bool combined = false;  ///< any of the members below `references`
  std::unique_ptr<ObjectRule> object;
  std::unique_ptr<ArrayRule> array;
  std::unique_ptr<TextRule> text;
  std::unique_ptr<NumberRule> number;
  std::vector<Value> allowed;           ///< enum; values inside CompiledSchema::files
  std::vector<std::string_view> texts;  ///< those of `allowed` that are texts, in ShorterFirst()
  std::vector<std::string> references;  ///< dwell:references
  std::vector<RuleIndex> all_of;
  std::vector<Alternatives> alternatives;
  RuleIndex negated = kNoRule;
};

struct CompiledSchema {
  std::vector<Rule> rules;
  RuleIndex root = kNoRule;
  std::vector<std::unique_ptr<Document>> files;  ///< own the values of `allowed`
};

}  // namespace dwell::schemas
