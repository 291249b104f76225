#include "tests/conformance/many/coverage.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "mapping/due/due.h"
#include "mapping/fhir/plan.h"
#include "schemas/base/check.h"

namespace dwell::many {
namespace {

/// What cannot occur, and why. One that does occur is a mistake in this table.
struct Impossible {
  std::string_view key, why;
};
constexpr std::array kImpossible = {
    Impossible{"due insertion-record-missing no-longer-needed",
               "it ends with the insertion, or with the retraction of all that told of the line"},
    Impossible{"due post-removal-watch no-longer-needed", "only a retraction takes a removal back"},
    Impossible{"told dressing-condition missing", "the contract has no such condition"},
    Impossible{"told scale ins-infiltration", "the grade of infiltration is told as a component"},
    Impossible{"told step skin-antisepsis",
               "an antiseptic is named or not; no event says that the skin was not disinfected"},
};

constexpr std::int64_t kFewValues = 16;  ///< integers with so few values are covered one by one

std::int64_t Whole(std::string_view text) {
  std::int64_t number = 0;
  std::from_chars(text.data(), text.data() + text.size(), number);
  return number;
}

/// Enough of a note to know it by, on one line.
std::string Head(const std::string& text) {
  std::string head = text.substr(0, 24);
  std::ranges::replace_if(
      head, [](char c) { return c == '\n' || c == '\r' || c == '\t'; }, ' ');
  return head;
}

bool IsSent(std::string_view group) {
  const auto groups = SentGroups();
  return std::ranges::find(groups, group) != groups.end();
}

}  // namespace

Coverage::Coverage(const Contract& contract, const Vocabulary& words, FhirRelease release)
    : contract_(contract), words_(words) {
  for (const std::string& kind : Contract::Kinds()) RequireNode(contract.Root(kind), kind);
  for (const auto& [group, list] : words) {
    for (const Word& word : list) {
      const std::string key = (IsSent(group) ? "sent " : "told ") + group + " " + word.code;
      Require(key);
      if (!IsSent(group)) keys_by_text_[word.display].push_back(key);
    }
  }
  for (const std::string_view group : SentGroups()) Require("unknown code " + std::string(group));
  for (std::size_t i = 0; i < static_cast<std::size_t>(fhir::Role::kTask); ++i) {
    const auto role = static_cast<fhir::Role>(i);
    if (role == fhir::Role::kAssociation && release != FhirRelease::kR5) continue;
    Require("role " + std::string(fhir::Row(role).name) + " in force");
    Require("role " + std::string(fhir::Row(role).name) + " in error");
  }
  for (const Word& rule : words.find("due-rule")->second) {
    for (const Word& stage : words.find("stage")->second) {
      Require("due " + rule.code + " " + stage.code);
    }
  }
  for (const char* form : {"GS1 scan", "GS1 print", "HIBC", "other"})
    Require(std::string("udi ") + form);
  for (const std::string& text : Decimals()) Require("number " + text);
  for (const std::string& text : Notes()) Require("note " + Head(text));
  for (const std::string& text : Extras()) Require("extra " + text);
  for (const char* what : {"Task that no longer follows", "a step that changes nothing",
                           "a step of the clock alone", "a reference by search"}) {
    Require(what);
  }
}

void Coverage::RequireNode(const Node& node, const std::string& path) {
  if (node.definition == "extra") return;
  if (const auto properties = node.Find("properties")) {
    for (const schemas::Value property : *properties) {
      const std::string at = path + "/" + std::string(property.name());
      Require("member " + at);
      if (!node.Requires(property.name())) Require("without " + at);
      RequireNode(contract_.Member(node, property), at);
    }
  }
  if (node.Is("array")) {
    if (!node.Find("minItems")) Require("empty " + path);
    RequireNode(contract_.Items(node), path + "[]");
  }
  if (const auto values = node.Find("enum")) {
    for (const schemas::Value value : *values) {
      Require("value " + path + " = " + std::string(value.AsString()));
    }
  }
  if (node.Is("integer")) {
    const std::int64_t low = Whole(node.Text("minimum"));
    const std::int64_t high = Whole(node.Text("maximum"));
    for (std::int64_t i = low; high - low <= kFewValues && i <= high; ++i) {
      Require("value " + path + " = " + std::to_string(i));
    }
  }
  if (node.definition == "expiry") {
    Require("month " + path);
    Require("day " + path);
  }
}

void Coverage::See(const std::string& key) {
  const auto found = counts_.find(key);
  if (found != counts_.end()) ++found->second;
}

void Coverage::CountNode(const Node& node, schemas::Value value, std::string_view member,
                         const std::string& path) {
  if (node.definition == "extra") return;
  if (value.is_object()) return CountObject(node, value, path);
  if (value.is_array()) {
    if (value.size() == 0) See("empty " + path);
    for (const schemas::Value item : value)
      CountNode(contract_.Items(node), item, member, path + "[]");
    return;
  }
  const std::string text(value.is_number() ? value.NumberText() : value.AsString());
  if (value.is_number()) See("number " + text);
  if (node.Find("enum") || node.Is("integer")) See("value " + path + " = " + text);
  if (node.definition == "note") See("note " + Head(text));
  if (node.definition == "expiry") See((text.size() == 7 ? "month " : "day ") + path);
  if (node.definition == "code") {
    const std::string group(GroupOfMember(member));
    CHECK(!group.empty());
    const auto& known = words_.find(group)->second;
    if (std::ranges::find(known, text, &Word::code) == known.end()) See("unknown code " + group);
    See("sent " + group + " " + text);
  }
}

void Coverage::CountObject(const Node& node, schemas::Value value, const std::string& path) {
  const schemas::Value properties = *node.Find("properties");
  for (const schemas::Value property : properties) {
    const std::string at = path + "/" + std::string(property.name());
    const auto there = value.Find(property.name());
    See((there ? "member " : "without ") + at);
    if (there) CountNode(contract_.Member(node, property), *there, property.name(), at);
  }
}

void Coverage::CountEvent(const event::Event& event, std::string_view json) {
  const auto document = schemas::Document::Parse(json);
  CHECK(document.has_value());
  const std::string kind(event::KindName(event.kind()));
  CountObject(contract_.Root(kind), document->root(), kind);
  for (const std::string& extra : Extras()) {
    if (json.find("\"extra\":" + extra) != std::string_view::npos) See("extra " + extra);
  }
  const auto* insertion = std::get_if<event::Insertion>(&event.body);
  if (insertion == nullptr || !insertion->line || !insertion->line->udi_parts) return;
  const event::LineDescription& line = *insertion->line;
  if (line.udi_parts->issuer == event::UdiIssuer::kGs1) {
    See(line.udi.find('(') == std::string::npos ? "udi GS1 scan" : "udi GS1 print");
  } else {
    See(line.udi_parts->issuer == event::UdiIssuer::kHibcc ? "udi HIBC" : "udi other");
  }
}

/// The words of every CodeableConcept below `value`.
void Coverage::CountConcepts(schemas::Value value) {
  if (!value.is_object() && !value.is_array()) return;
  for (const schemas::Value child : value) {
    if (value.is_object() && child.is_string() && child.name() == "text") {
      const auto found = keys_by_text_.find(std::string(child.AsString()));
      if (found == keys_by_text_.end()) continue;
      for (const std::string& key : found->second) See(key);
    } else {
      CountConcepts(child);
    }
  }
}

void Coverage::CountResource(const fhir::Resource& resource) {
  const auto document = schemas::Document::Parse(resource.json);
  CHECK(document.has_value());
  CountConcepts(document->root());
  if (resource.json.find("?identifier=") != std::string::npos) See("a reference by search");
  if (resource.type == "Provenance") return;
  auto status = document->At("/status");
  if (status && status->is_object()) status = document->At("/status/coding/0/code");  // R5
  const bool in_error = status && status->AsString() == "entered-in-error";
  const auto identifier = document->At("/identifier/0/value");
  if (!identifier) return See("Task that no longer follows");
  if (resource.type == "Task") {
    // Rule and stage by their words: the code may be translated.
    const auto word = [&](std::string_view group, std::string_view pointer) {
      const auto text = document->At(pointer);
      const auto& list = words_.find(group)->second;
      const auto found = std::ranges::find(list, text ? text->AsString() : "", &Word::display);
      return found == list.end() ? std::string("?") : found->code;
    };
    return See("due " + word("due-rule", "/code/text") + " " +
               word("stage", "/businessStatus/text"));
  }
  std::string name(identifier->AsString());
  std::string last = name.substr(name.rfind('/') + 1);
  if (std::ranges::all_of(last, [](char c) { return c >= '0' && c <= '9'; })) {
    name.resize(name.rfind('/'));  // the number of an attempt
    last = name.substr(name.rfind('/') + 1);
  }
  See("role " + last + (in_error ? " in error" : " in force"));
}

void Coverage::Count(const Step& step) {
  if (step.event != nullptr) CountEvent(*step.event, step.event_json);
  if (step.event == nullptr) See("a step of the clock alone");
  if (step.resources.empty()) See("a step that changes nothing");
  for (const fhir::Resource& resource : step.resources) CountResource(resource);
}

std::size_t Coverage::Print(std::ostream& out) const {
  std::size_t wrong = 0;
  for (const auto& [key, count] : counts_) {
    const auto row = std::ranges::find(kImpossible, key, &Impossible::key);
    const bool possible = row == kImpossible.end();
    const bool good = (count > 0) == possible;
    wrong += good ? 0 : 1;
    out << count << "\t" << key;
    if (!possible) out << "\timpossible: " << row->why;
    if (!good) out << (possible ? "\tMISSING" : "\tit does occur");
    out << "\n";
  }
  return wrong;
}

}  // namespace dwell::many
