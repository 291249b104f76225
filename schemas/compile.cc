#include "schemas/compile.h"

#include <algorithm>
#include <array>

namespace dwell::schemas {
namespace {

/// More than any schema of ours; a bundled file comes with the program, not from outside.
constexpr ParseLimits kSchemaLimits = {
    .bytes_max = 16 << 20, .depth_max = 64, .values_max = 1'000'000};

int HexDigit(char c) {
  if (c >= '0' && c <= '9') return c - '0';
  if (c >= 'a' && c <= 'f') return c - 'a' + 10;
  if (c >= 'A' && c <= 'F') return c - 'A' + 10;
  return -1;
}

/// A URI fragment with its %xx read (RFC 6901 section 6).
std::string Unescape(std::string_view fragment) {
  std::string text;
  for (std::size_t i = 0; i < fragment.size(); ++i) {
    if (fragment[i] == '%' && i + 2 < fragment.size() && HexDigit(fragment[i + 1]) >= 0 &&
        HexDigit(fragment[i + 2]) >= 0) {
      text.push_back(static_cast<char>(HexDigit(fragment[i + 1]) * 16 + HexDigit(fragment[i + 2])));
      i += 2;
    } else {
      text.push_back(fragment[i]);
    }
  }
  return text;
}

bool IsAnnotation(std::string_view keyword) {
  return keyword == "title" || keyword == "description" || keyword == "$schema" ||
         keyword == "definitions";
}

}  // namespace

Compiler::Keyword Compiler::FindKeyword(std::string_view name) {
  struct Row {
    std::string_view name;
    Keyword compile;
  };
  static constexpr std::array kRows = {
      Row{"definitions", &Compiler::Definitions},
      Row{"properties", &Compiler::Properties},
      Row{"additionalProperties", &Compiler::AdditionalProperties},
      Row{"dependencies", &Compiler::Dependencies},
      Row{"items", &Compiler::Items},
      Row{"allOf", &Compiler::AllOf},
      Row{"anyOf", &Compiler::AnyOf},
      Row{"oneOf", &Compiler::OneOf},
      Row{"not", &Compiler::Not},
  };
  const auto row =
      std::find_if(kRows.begin(), kRows.end(), [name](const Row& r) { return r.name == name; });
  return row == kRows.end() ? nullptr : row->compile;
}

Result<std::unique_ptr<const CompiledSchema>> Compiler::Compile(std::string_view text) {
  if (const auto file = AddFile("", text)) {
    result_->root = RuleAt({*file, result_->files[*file]->root()});
  }
  if (problem_.empty()) problem_ = FinishRules(result_.get());
  if (!problem_.empty()) return Error(ErrorKind::kData, problem_);
  return std::unique_ptr<const CompiledSchema>(std::move(result_));
}

void Compiler::Fail(const Place& place, const Problem& problem) {
  if (!problem_.empty()) return;
  problem_ = "schema " + file_names_[place.file] + "#" + place.value.Pointer() + ": " + problem;
}

std::optional<std::size_t> Compiler::AddFile(std::string_view name, std::string_view text) {
  const auto known = std::find(file_names_.begin(), file_names_.end(), name);
  if (known != file_names_.end()) {
    return static_cast<std::size_t>(known - file_names_.begin());
  }
  auto document = Document::Parse(text, kSchemaLimits);
  if (document.has_error()) {
    problem_ = "schema " + std::string(name) + "#" + document.error().pointer + ": " +
               document.error().rule + ", expected " + document.error().expected;
    return std::nullopt;
  }
  file_names_.emplace_back(name);
  result_->files.push_back(std::make_unique<Document>(std::move(*document)));
  return file_names_.size() - 1;
}

std::optional<Compiler::Place> Compiler::Resolve(const Place& from, std::string_view reference) {
  const std::size_t hash = std::min(reference.find('#'), reference.size());
  const std::string_view name = reference.substr(0, hash);
  std::size_t file = from.file;
  if (!name.empty()) {
    const auto text = resolver_ ? resolver_(name) : std::nullopt;
    if (!text) return std::nullopt;
    const auto added = AddFile(name, *text);
    if (!added) return std::nullopt;
    file = *added;
  }
  const std::string_view fragment = reference.substr(std::min(hash + 1, reference.size()));
  const auto value = result_->files[file]->At(Unescape(fragment));
  if (!value) return std::nullopt;
  return Place{file, *value};
}

RuleIndex Compiler::RuleAt(const Place& place) {
  if (!problem_.empty()) return kNoRule;
  if (!place.value.is_object()) {
    Fail(place, "a schema must be an object");
    return kNoRule;
  }
  if (const auto reference = place.value.Find("$ref")) return FollowReference(place, *reference);
  const auto key = std::make_pair(place.file, place.value.Pointer());
  if (const auto known = rule_by_place_.find(key); known != rule_by_place_.end()) {
    return known->second;
  }
  const auto index = static_cast<RuleIndex>(result_->rules.size());
  rule_by_place_[key] = index;
  result_->rules.emplace_back();
  Rule rule;
  CompileRule(place, &rule);
  result_->rules[index] = std::move(rule);
  return index;
}

RuleIndex Compiler::FollowReference(const Place& place, Value reference) {
  // Draft 04 ignores what stands beside $ref; whoever wrote it there meant something.
  for (Value member : place.value) {
    if (member.name() == "$ref") continue;
    if (!IsAnnotation(member.name())) {
      Fail(place, "a keyword beside $ref would be ignored");
      return kNoRule;
    }
    if (member.name() == "definitions") Definitions(place, member, nullptr);
  }
  const auto target = reference.is_string() ? Resolve(place, reference.AsString()) : std::nullopt;
  const auto key = std::make_pair(place.file, place.value.Pointer());
  if (!target || !following_.insert(key).second) {
    Fail(place, target ? "$ref leads back to itself" : "$ref leads nowhere");
    return kNoRule;
  }
  const RuleIndex rule = RuleAt(*target);
  following_.erase(key);
  return rule;
}

void Compiler::CompileRule(const Place& place, Rule* rule) {
  for (Value member : place.value) {
    Problem problem;
    if (const PlainKeyword plain = FindPlainKeyword(member.name())) {
      problem = plain(place.value, member, rule);
    } else if (const Keyword keyword = FindKeyword(member.name())) {
      problem = (this->*keyword)(place, member, rule);
    } else {
      problem = "not implemented";
    }
    if (!problem.empty()) Fail({place.file, member}, problem);
  }
  rule->combined = !rule->all_of.empty() || !rule->alternatives.empty() || rule->negated != kNoRule;
}

Problem Compiler::Definitions(const Place& schema, Value value, Rule*) {
  if (!value.is_object()) return "must be an object";
  if (schema.file != 0) return {};  // of other files only what is used
  for (Value definition : value) RuleAt({schema.file, definition});
  return {};
}

Problem Compiler::Properties(const Place& schema, Value value, Rule* rule) {
  if (!value.is_object()) return "must be an object";
  Need(&rule->object);
  for (Value property : value) {
    const std::uint32_t slot = SlotOf(rule, property.name());
    rule->object->slots[slot].declared = true;
    rule->object->slots[slot].rule = RuleAt({schema.file, property});
  }
  return {};
}

Problem Compiler::AdditionalProperties(const Place& schema, Value value, Rule* rule) {
  ObjectRule& object = Need(&rule->object);
  if (value.is_bool()) {
    object.others_allowed = value.AsBool();
  } else {
    object.others = RuleAt({schema.file, value});
  }
  return {};
}

Problem Compiler::Dependencies(const Place& schema, Value value, Rule* rule) {
  if (!value.is_object()) return "must be an object";
  for (Value row : value) {
    Dependency dependency{SlotOf(rule, row.name()), {}, kNoRule};
    if (row.is_array()) {
      for (Value name : row) {
        if (!name.is_string()) return "must be a list of names";
        SetBit(&dependency.required, SlotOf(rule, name.AsString()));
      }
    } else {
      dependency.rule = RuleAt({schema.file, row});
    }
    rule->object->dependencies.push_back(std::move(dependency));
  }
  return {};
}

Problem Compiler::Items(const Place& schema, Value value, Rule* rule) {
  if (value.is_array()) return "a list of schemas is not implemented";
  Need(&rule->array).items = RuleAt({schema.file, value});
  return {};
}

Problem Compiler::RuleList(const Place& schema, Value value, std::vector<RuleIndex>* rules) {
  if (!value.is_array() || value.size() == 0) return "must be a list of schemas";
  for (Value alternative : value) rules->push_back(RuleAt({schema.file, alternative}));
  return {};
}

Problem Compiler::AllOf(const Place& schema, Value value, Rule* rule) {
  return RuleList(schema, value, &rule->all_of);
}

Problem Compiler::AnyOf(const Place& schema, Value value, Rule* rule) {
  return RuleList(schema, value, &rule->alternatives.emplace_back().rules);
}

Problem Compiler::OneOf(const Place& schema, Value value, Rule* rule) {
  rule->alternatives.emplace_back().exactly_one = true;
  return RuleList(schema, value, &rule->alternatives.back().rules);
}

Problem Compiler::Not(const Place& schema, Value value, Rule* rule) {
  rule->negated = RuleAt({schema.file, value});
  return {};
}

}  // namespace dwell::schemas
