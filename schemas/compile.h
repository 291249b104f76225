// Turns schema texts into tables, refusing whatever is not fully implemented. Inside schemas/ only.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "schemas/compiled.h"
#include "schemas/schema.h"

namespace dwell::schemas {

/// What is wrong with a keyword's value; empty when nothing is.
using Problem = std::string;

/// A keyword whose value holds no other schema: writes it into the rule. `schema` is the object
/// that the keyword stands in.
using PlainKeyword = Problem (*)(Value schema, Value value, Rule* rule);

/// The keyword of that name, or null.
PlainKeyword FindPlainKeyword(std::string_view name);

/// The index of the slot called `name` of the rule's object part, made if it is new.
std::uint32_t SlotOf(Rule* rule, std::string_view name);

/// The rule's part for one kind of value, made if it is not there.
template <class Part>
Part& Need(std::unique_ptr<Part>* part) {
  if (!*part) *part = std::make_unique<Part>();
  return **part;
}

void SetBit(BitWords* words, std::uint32_t bit);

/// What remains to be done when all rules are there: lookup tables, discriminators. Fails for a
/// rule that would apply itself to the same value without end.
Problem FinishRules(CompiledSchema* schema);

/// One compilation. Rules are made on demand, so that $ref may be recursive.
class Compiler {
 public:
  explicit Compiler(const FileResolver& files) : resolver_(files) {}

  /// Compiles the text and every file that it needs; once.
  Result<std::unique_ptr<const CompiledSchema>> Compile(std::string_view text);

 private:
  /// A schema's place: which file, and where in it.
  struct Place {
    std::size_t file;
    Value value;
  };
  /// A keyword whose value holds schemas.
  using Keyword = Problem (Compiler::*)(const Place& schema, Value value, Rule* rule);
  static Keyword FindKeyword(std::string_view name);

  std::optional<std::size_t> AddFile(std::string_view name, std::string_view text);
  std::optional<Place> Resolve(const Place& from, std::string_view reference);
  /// The rule of the schema at a place, compiled now if it was not yet; kNoRule after a problem.
  RuleIndex RuleAt(const Place& place);
  RuleIndex FollowReference(const Place& place, Value reference);
  void CompileRule(const Place& place, Rule* rule);
  Problem RuleList(const Place& schema, Value value, std::vector<RuleIndex>* rules);
  void Fail(const Place& place, const Problem& problem);

  Problem Definitions(const Place& schema, Value value, Rule* rule);
  Problem Properties(const Place& schema, Value value, Rule* rule);
  Problem AdditionalProperties(const Place& schema, Value value, Rule* rule);
  Problem Dependencies(const Place& schema, Value value, Rule* rule);
  Problem Items(const Place& schema, Value value, Rule* rule);
  Problem AllOf(const Place& schema, Value value, Rule* rule);
  Problem AnyOf(const Place& schema, Value value, Rule* rule);
  Problem OneOf(const Place& schema, Value value, Rule* rule);
  Problem Not(const Place& schema, Value value, Rule* rule);

  const FileResolver& resolver_;
  std::unique_ptr<CompiledSchema> result_ = std::make_unique<CompiledSchema>();
  std::vector<std::string> file_names_;
  std::map<std::pair<std::size_t, std::string>, RuleIndex> rule_by_place_;
  std::set<std::pair<std::size_t, std::string>> following_;  ///< references on the way
  Problem problem_;                                          ///< the first one, with its place
};

}  // namespace dwell::schemas
