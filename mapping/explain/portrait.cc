#include "mapping/explain/portrait.h"

#include <algorithm>
#include <map>
#include <span>

#include "mapping/explain/alter.h"
#include "schemas/base/check.h"

namespace dwell::explain {
namespace {

using schemas::Document;
using schemas::Value;

std::string Text(Value object, std::string_view name) {
  const auto value = object.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

std::string LastSegment(std::string_view uri) {
  return std::string(uri.substr(uri.find_last_of("/#") + 1));
}

bool IsConcept(Value value) {
  const auto coding = value.Find("coding");
  if (coding && coding->is_array()) return true;
  return value.size() == 1 && !Text(value, "text").empty();
}

bool IsCoding(Value value) { return value.Find("system") && value.Find("code"); }

bool IsQuantity(Value value) {
  const auto number = value.Find("value");
  return number && number->is_number();
}

std::vector<codes::Coding> CodingsOf(Value what) {
  std::vector<codes::Coding> codings;
  const auto list = what.Find("coding");
  if (!list) return codings;
  for (const Value coding : *list) {
    codings.push_back({Text(coding, "system"), Text(coding, "code"), Text(coding, "display")});
  }
  return codings;
}

/// The coding, or the unit of a quantity if it has a code.
std::vector<codes::Coding> CodingOrUnit(Value value) {
  if (!IsCoding(value)) return {};
  const char* words = IsQuantity(value) ? "unit" : "display";
  return {{Text(value, "system"), Text(value, "code"), Text(value, words)}};
}

/// Of a value that could stand for a word of an enumeration: a FHIR code, true or false.
std::string PlainWords(Value value) {
  if (value.is_bool()) return value.AsBool() ? "true" : "false";
  if (!value.is_string()) return {};
  const std::string_view text = value.AsString();
  const bool code =
      std::ranges::all_of(text, [](char c) { return (c >= 'a' && c <= 'z') || c == '-'; });
  return code ? std::string(text) : std::string();
}

/// Members that say what an entry of an array is about: texts, then concepts.
constexpr std::pair<const char*, bool> kNaming[] = {
    {"url", false}, {"role", false}, {"code", true}, {"type", true}};

/// Takes one resource apart.
class Anatomy {
 public:
  using Names = std::map<std::string, std::string>;

  Anatomy(const Names& code_by_text, const Names& label_by_reference)
      : code_by_text_(code_by_text), label_by_reference_(label_by_reference) {}

  std::vector<Element> Of(Value resource) {
    const auto code = resource.Find("code");
    if (code) resource_code_ = CodingsOf(*code);
    for (const Value member : resource) {
      if (member.name() == "resourceType" || member.name() == "text") continue;
      if (member.name() == "target") continue;  // of a Provenance: follows from what is made
      const bool value = member.name().starts_with("value");
      Take(member, std::string(member.name()), value ? resource_code_ : Codings());
    }
    return std::move(elements_);
  }

 private:
  using Codings = std::vector<codes::Coding>;

  void Add(const std::string& path, ElementValue one, const Codings& about) {
    const auto found = std::ranges::find(elements_, path, &Element::path);
    if (found != elements_.end()) return found->values.push_back(std::move(one));
    elements_.push_back({path, {std::move(one)}, about});
  }

  void Take(Value value, const std::string& path, const Codings& about) {
    if (value.is_array()) {
      for (const Value entry : value) TakeEntry(entry, path, about);
      return;
    }
    if (!value.is_object()) return Add(path, {ValueOf(value), {}, PlainWords(value)}, about);
    if (IsConcept(value)) {
      return Add(path, {JsonText(value), CodingsOf(value), Text(value, "text")}, about);
    }
    if (IsCoding(value) || IsQuantity(value)) {
      return Add(path, {JsonText(value), CodingOrUnit(value), {}}, about);
    }
    for (const Value member : value) {
      Take(member, path + "." + std::string(member.name()), about);
    }
  }

  /// An entry of an array, called by what it is about, where it says so.
  void TakeEntry(Value entry, const std::string& path, const Codings& about) {
    if (!entry.is_object() || IsConcept(entry) || IsCoding(entry) || IsQuantity(entry)) {
      return Take(entry, path, about);
    }
    for (const auto& [name, coded] : kNaming) {
      const auto naming = entry.Find(name);
      if (!naming || (coded ? !naming->is_object() : !naming->is_string())) continue;
      const std::string called = coded ? CodeOf(*naming) : LastSegment(naming->AsString());
      const std::string inner = path + "[" + called + "]";
      for (const Value member : entry) {
        if (member.name() == name) continue;  // said by the brackets
        Take(member, inner + "." + std::string(member.name()), coded ? CodingsOf(*naming) : about);
      }
      return;
    }
    const std::string system = Text(entry, "system");
    const std::string inner = system.empty() ? path : path + "[" + LastSegment(system) + "]";
    for (const Value member : entry) Take(member, inner + "." + std::string(member.name()), about);
  }

  /// Our code for a concept: as it says, or by its words; else its first code.
  std::string CodeOf(Value what) const {
    const auto codings = CodingsOf(what);
    for (const codes::Coding& coding : codings) {
      if (coding.system == codes::kOurSystem) return coding.code;
    }
    const auto found = code_by_text_.find(Text(what, "text"));
    if (found != code_by_text_.end()) return found->second;
    return codings.empty() ? Text(what, "text") : codings.front().code;
  }

  std::string ValueOf(Value value) const {
    if (value.is_string()) {
      const auto label = label_by_reference_.find(std::string(value.AsString()));
      if (label != label_by_reference_.end()) return label->second;
    }
    return JsonText(value);
  }

  const Names& code_by_text_;
  const Names& label_by_reference_;
  Codings resource_code_;
  std::vector<Element> elements_;
};

/// What our records name things with; where two concepts share their words, the first group wins.
Anatomy::Names CodesByText(const codes::CodeMap& codes) {
  Anatomy::Names names;
  const auto all = codes.OwnCodes();
  for (const char* group : {"sign", "step", "observation", "device-property", "task-output"}) {
    for (const codes::OwnCode& own : all) {
      if (own.group == group) names.emplace(own.what->text, own.code);
    }
  }
  return names;
}

/// The role, out of our business identifier: event/role, event/role/number, line/rule/event.
std::string RoleOf(Value resource) {
  const auto identifiers = resource.Find("identifier");
  if (!identifiers || !identifiers->is_array()) return {};
  const std::string value = Text(*identifiers->first(), "value");
  const std::size_t begin = value.find('/') + 1;
  return value.substr(begin, value.find('/', begin) - begin);
}

}  // namespace

const Element* Portrait::Find(std::string_view path) const {
  const auto found = std::ranges::find(elements, path, &Element::path);
  return found != elements.end() ? &*found : nullptr;
}

std::vector<Portrait> PortraitsOf(const std::vector<fhir::Resource>& resources,
                                  const codes::CodeMap& codes) {
  std::vector<Document> documents;
  std::vector<Portrait> portraits;
  std::map<std::string, std::size_t> numbers;
  Anatomy::Names labels;
  for (const fhir::Resource& resource : resources) {
    auto document = Document::Parse(resource.json);
    CHECK(document.has_value());
    const Value root = document->root();
    const std::string role = RoleOf(root);
    const std::string label = resource.type + " " + role;
    const std::size_t number = ++numbers[label];
    labels[resource.type + "/" + resource.id] = label + " " + std::to_string(number);
    const auto narrative = document->At("/text/div");
    portraits.push_back({resource.type,
                         role,
                         number,
                         {},
                         narrative ? std::string(narrative->AsString()) : std::string()});
    documents.push_back(std::move(*document));
  }
  const Anatomy::Names names = CodesByText(codes);
  for (std::size_t i = 0; i < portraits.size(); ++i) {
    portraits[i].elements = Anatomy(names, labels).Of(documents[i].root());
  }
  return portraits;
}

}  // namespace dwell::explain
