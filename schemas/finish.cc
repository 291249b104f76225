// The last step of a compilation: tables for lookup, discriminators, and no endless application.
#include <algorithm>
#include <bit>

#include "schemas/compile.h"

namespace dwell::schemas {
namespace {

/// Up to so many names are looked up one by one, which is quicker than a walk over all members.
constexpr std::size_t kPresenceOnlyMax = 4;

void FinishObject(ObjectRule* object) {
  object->presence_only = object->others_allowed && object->others == kNoRule &&
                          object->slots.size() <= kPresenceOnlyMax &&
                          std::none_of(object->slots.begin(), object->slots.end(),
                                       [](const Slot& slot) { return slot.rule != kNoRule; });
  object->words = (object->slots.size() + 63) / 64;
  object->required.resize(object->words);
  for (Choice& choice : object->choices) choice.mask.resize(object->words);
  for (Dependency& dependency : object->dependencies) dependency.required.resize(object->words);
  if (object->slots.empty()) return;
  // At most half full, so that probes are few.
  object->table.assign(std::bit_ceil(object->slots.size() * 2), 0);
  for (std::uint32_t i = 0; i < object->slots.size(); ++i) {
    std::size_t at = object->slots[i].hash & (object->table.size() - 1);
    while (object->table[at] != 0) at = (at + 1) & (object->table.size() - 1);
    object->table[at] = i + 1;
  }
}

/// The texts that `member` may have in values of the rule, if it is required there and they are
/// listed; empty otherwise.
std::vector<std::string_view> TextsOf(const CompiledSchema& schema, RuleIndex index,
                                      std::string_view member) {
  if (index == kNoRule || !schema.rules[index].object) return {};
  const ObjectRule& object = *schema.rules[index].object;
  const Slot* slot = object.Find(member, NameHash(member));
  if (slot == nullptr || slot->rule == kNoRule) return {};
  const auto bit = static_cast<std::size_t>(slot - object.slots.data());
  if ((object.required[bit / 64] >> (bit % 64) & 1) == 0) return {};
  std::vector<std::string_view> texts;
  for (const Value& value : schema.rules[slot->rule].allowed) {
    if (!value.is_string()) return {};
    texts.push_back(value.AsString());
  }
  return texts;
}

/// Makes `member` the discriminator if it can be one.
bool Discriminate(const CompiledSchema& schema, std::string_view member,
                  Alternatives* alternatives) {
  std::vector<std::pair<std::string, RuleIndex>> by_text;
  for (RuleIndex rule : alternatives->rules) {
    const auto texts = TextsOf(schema, rule, member);
    if (texts.empty()) return false;
    for (std::string_view text : texts) by_text.emplace_back(text, rule);
  }
  std::sort(by_text.begin(), by_text.end());
  const bool repeated = std::adjacent_find(by_text.begin(), by_text.end(), [](auto& a, auto& b) {
                          return a.first == b.first;
                        }) != by_text.end();
  if (repeated) return false;
  alternatives->discriminator = member;
  alternatives->by_text = std::move(by_text);
  return true;
}

void FindDiscriminator(const CompiledSchema& schema, Alternatives* alternatives) {
  const RuleIndex first = alternatives->rules.front();
  if (alternatives->rules.size() < 2 || first == kNoRule || !schema.rules[first].object) return;
  for (const Slot& slot : schema.rules[first].object->slots) {
    if (Discriminate(schema, slot.name, alternatives)) return;
  }
}

/// The rules that a rule applies to the very value it was given.
std::vector<RuleIndex> AppliedToSameValue(const Rule& rule) {
  std::vector<RuleIndex> applied = rule.all_of;
  for (const Alternatives& alternatives : rule.alternatives) {
    applied.insert(applied.end(), alternatives.rules.begin(), alternatives.rules.end());
  }
  applied.push_back(rule.negated);
  if (rule.object) {
    for (const Dependency& row : rule.object->dependencies) applied.push_back(row.rule);
  }
  std::erase(applied, kNoRule);
  return applied;
}

enum class Visit : std::uint8_t { kNew, kOpen, kDone };

bool ReachesItself(const CompiledSchema& schema, RuleIndex index, std::vector<Visit>* visits) {
  if ((*visits)[index] == Visit::kDone) return false;
  if ((*visits)[index] == Visit::kOpen) return true;
  (*visits)[index] = Visit::kOpen;
  for (RuleIndex next : AppliedToSameValue(schema.rules[index])) {
    if (ReachesItself(schema, next, visits)) return true;
  }
  (*visits)[index] = Visit::kDone;
  return false;
}

}  // namespace

Problem FinishRules(CompiledSchema* schema) {
  std::vector<Visit> visits(schema->rules.size(), Visit::kNew);
  for (RuleIndex i = 0; i < schema->rules.size(); ++i) {
    if (ReachesItself(*schema, i, &visits)) return "schema: a rule applies itself without end";
    if (schema->rules[i].object) FinishObject(schema->rules[i].object.get());
  }
  for (Rule& rule : schema->rules) {
    for (Alternatives& alternatives : rule.alternatives) FindDiscriminator(*schema, &alternatives);
  }
  return {};
}

}  // namespace dwell::schemas
