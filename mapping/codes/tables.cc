#include "mapping/codes/tables.h"

#include <array>
#include <optional>
#include <set>
#include <tuple>

#include "mapping/codes/check_digits.h"
#include "schemas/formats.h"
#include "schemas/json/document.h"

namespace dwell::codes {
namespace {

using schemas::Document;
using schemas::Value;

/// The string member `name`, or "" when it is missing or no string.
std::string Text(Value object, std::string_view name) {
  if (!object.is_object()) return {};
  const auto value = object.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

/// The elements of the array member `name`; none when it is missing or no array.
std::vector<Value> Elements(Value object, std::string_view name) {
  std::vector<Value> found;
  if (!object.is_object()) return found;
  const auto array = object.Find(name);
  if (!array || !array->is_array()) return found;
  for (const Value element : *array) found.push_back(element);
  return found;
}

Result<Document> Parse(const File& file, std::string_view resource_type) {
  auto document = Document::Parse(file.second);
  if (!document) {
    const auto& problem = document.error();
    return Error(ErrorKind::kConfig, std::string(file.first) + " at byte " +
                                         std::to_string(problem.offset) + ": expected " +
                                         problem.expected);
  }
  if (Text(document->root(), "resourceType") != resource_type) {
    return At(file, "/resourceType", resource_type);
  }
  return std::move(*document);
}

/// R4, concept-map-equivalence: how close the target is, best first; then those that name none.
constexpr std::array<std::string_view, 10> kBestFirst = {
    "equal",    "equivalent", "narrower",  "specializes", "wider",
    "subsumes", "inexact",    "relatedto", "unmatched",   "disjoint"};
constexpr int kNamesTargetMax = 7;

int Rank(std::string_view equivalence) {
  for (std::size_t i = 0; i < kBestFirst.size(); ++i) {
    if (kBestFirst[i] == equivalence) return static_cast<int>(i);
  }
  return -1;
}

bool Matches(std::string_view format, const std::string& text) {
  return schemas::FindFormat(format)->matches(text);
}

/// What would have been right, when `coding` cannot stand in a FHIR Coding.
std::optional<std::string_view> WrongCoding(const Coding& coding) {
  if (!Matches("absolute-uri", coding.system)) return "a system that is an absolute URI";
  if (coding.code.empty() || !Matches("fhir-code", coding.code)) {
    return "a target with a code, without blanks around it";
  }
  if (!coding.display.empty() && !Matches("fhir-string", coding.display)) {
    return "a display without control characters";
  }
  return WrongForm(coding.system, coding.code);
}

/// Reads one ConceptMap; what is wrong is noted once, the first.
class MapReader {
 public:
  explicit MapReader(const File& file) : file_(file) {}

  Result<std::vector<Target>> Read(Value root) {
    Each(root, "group", "", [this](Value group, const std::string& at) { ReadGroup(group, at); });
    if (!error_ && targets_.empty()) Wrong("/group", "at least one target");
    if (error_) return *error_;
    return std::move(targets_);
  }

 private:
  void Wrong(const std::string& at, std::string_view expected) {
    if (!error_) error_ = At(file_, at, expected);
  }

  /// Calls `read(element, pointer)` for the elements of an array of at least one object.
  template <class Call>
  void Each(Value object, const char* name, const std::string& at, Call read) {
    const std::string place = at + "/" + name;
    const auto elements = Elements(object, name);
    if (elements.empty()) Wrong(place, "an array of at least one object");
    for (std::size_t i = 0; i < elements.size() && !error_; ++i) {
      const std::string where = place + "/" + std::to_string(i);
      if (!elements[i].is_object()) return Wrong(where, "an object");
      if (elements[i].Find("modifierExtension")) {
        return Wrong(where, "no modifierExtension: it could change the meaning");
      }
      read(elements[i], where);
    }
  }

  void ReadGroup(Value group, const std::string& at) {
    const std::string system = Text(group, "target");
    if (Text(group, "source") != kOurSystem) return Wrong(at + "/source", kOurSystem);
    if (system.empty()) return Wrong(at + "/target", "the canonical of a code system");
    if (group.Find("unmapped")) {
      return Wrong(at + "/unmapped", "nothing: a code without a target keeps our own code");
    }
    Each(group, "element", at, [&](Value element, const std::string& where) {
      const std::string code = Text(element, "code");
      if (code.empty()) return Wrong(where, "a code of ours");
      Each(element, "target", where, [&](Value json, const std::string& place) {
        ReadTarget(json, place,
                   {.place = where,
                    .source = code,
                    .source_display = Text(element, "display"),
                    .qualifier_group = {},
                    .qualifier = {},
                    .coding = {system, Text(json, "code"), Text(json, "display")},
                    .also = {}});
      });
    });
  }

  void ReadTarget(Value json, const std::string& at, Target target) {
    target.rank = Rank(Text(json, "equivalence"));
    if (target.rank < 0)
      return Wrong(at + "/equivalence", "a code of R4's concept-map-equivalence");
    if (!ReadCondition(json, target)) {
      return Wrong(at + "/dependsOn",
                   "one, with a property \"" + std::string(kOurSystem) + "#...\" and a value");
    }
    if (target.rank > kNamesTargetMax) {
      target.coding.code.clear();
    } else if (const auto expected = WrongCoding(target.coding)) {
      return Wrong(at, *expected);
    }
    if (json.Find("product")) ReadProducts(json, at, target);
    if (!seen_.emplace(target.source, target.qualifier, target.coding.system).second) {
      return Wrong(at, "one target for each source, qualifier and system");
    }
    targets_.push_back(std::move(target));
  }

  void ReadProducts(Value json, const std::string& at, Target& target) {
    Each(json, "product", at, [&](Value product, const std::string& where) {
      Coding also{Text(product, "system"), Text(product, "value"), Text(product, "display")};
      if (also.system.empty()) also.system = target.coding.system;
      if (const auto expected = WrongCoding(also)) return Wrong(where, *expected);
      target.also.push_back(std::move(also));
    });
  }

  /// Reads target.dependsOn. False when it is none of the form we know.
  static bool ReadCondition(Value json, Target& target) {
    if (const auto on = json.Find("dependsOn"); on && !on->is_array()) return false;
    const auto depends = Elements(json, "dependsOn");
    if (depends.size() > 1) return false;
    const std::string prefix = std::string(kOurSystem) + "#";
    for (const Value on : depends) {
      const std::string property = Text(on, "property");
      target.qualifier = Text(on, "value");
      if (!property.starts_with(prefix) || target.qualifier.empty()) return false;
      target.qualifier_group = property.substr(prefix.size());
    }
    return true;
  }

  const File& file_;
  std::optional<Error> error_;
  std::vector<Target> targets_;
  std::set<std::tuple<std::string, std::string, std::string>> seen_;
};

}  // namespace

Error At(const File& file, const std::string& pointer, std::string_view expected) {
  return {ErrorKind::kConfig,
          std::string(file.first) + " at \"" + pointer + "\": expected " + std::string(expected)};
}

Result<std::vector<OwnConcept>> ReadCodeSystem(const File& file) {
  const auto document = Parse(file, "CodeSystem");
  if (!document) return document.error();
  if (Text(document->root(), "url") != kOurSystem) return At(file, "/url", kOurSystem);
  std::vector<OwnConcept> concepts;
  std::set<std::string> seen;
  for (const Value json : Elements(document->root(), "concept")) {
    const std::string place = "/concept/" + std::to_string(concepts.size());
    OwnConcept own{Text(json, "code"), Text(json, "display"), {}};
    for (const Value property : Elements(json, "property")) {
      if (Text(property, "code") == "group") own.groups.push_back(Text(property, "valueCode"));
    }
    if (own.code.empty() || own.display.empty() || own.groups.empty()) {
      return At(file, place, "code, display and a property \"group\"");
    }
    if (!seen.insert(own.code).second) return At(file, place, "each code once");
    concepts.push_back(std::move(own));
  }
  return concepts;
}

Result<std::vector<Target>> ReadConceptMap(const File& file) {
  const auto document = Parse(file, "ConceptMap");
  if (!document) return document.error();
  return MapReader(file).Read(document->root());
}

}  // namespace dwell::codes
