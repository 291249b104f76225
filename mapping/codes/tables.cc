#include "mapping/codes/tables.h"

#include <array>
#include <set>
#include <tuple>

#include "schemas/json/document.h"

namespace dwell::codes {
namespace {

using schemas::Document;
using schemas::Kind;
using schemas::Value;

Error At(const File& file, const std::string& pointer, std::string_view expected) {
  return {ErrorKind::kConfig,
          std::string(file.first) + " at \"" + pointer + "\": expected " + std::string(expected)};
}

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

/// R4 concept-map-equivalence: how close the target is, best first. What is not listed
/// ("unmatched", "disjoint") gives no target.
int Rank(std::string_view equivalence) {
  constexpr std::array<std::string_view, 8> kBestFirst = {"equal",       "equivalent", "narrower",
                                                          "specializes", "wider",      "subsumes",
                                                          "inexact",     "relatedto"};
  for (std::size_t i = 0; i < kBestFirst.size(); ++i) {
    if (kBestFirst[i] == equivalence) return static_cast<int>(i);
  }
  return -1;
}

/// Reads target.dependsOn and target.product. False when they are none of the forms we know.
bool ReadConditions(Value json, const std::string& system, Target& target) {
  const auto depends = Elements(json, "dependsOn");
  if (depends.size() > 1) return false;
  const std::string prefix = std::string(kOurSystem) + "#";
  for (const Value on : depends) {
    const std::string property = Text(on, "property");
    target.qualifier = Text(on, "value");
    if (!property.starts_with(prefix) || target.qualifier.empty()) return false;
    target.qualifier_group = property.substr(prefix.size());
  }
  for (const Value product : Elements(json, "product")) {
    Coding also{Text(product, "system"), Text(product, "value"), Text(product, "display")};
    if (also.system.empty()) also.system = system;
    if (also.code.empty()) return false;
    target.also.push_back(std::move(also));
  }
  return true;
}

}  // namespace

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
  std::vector<Target> targets;
  std::set<std::tuple<std::string, std::string, std::string>> seen;
  std::size_t group_index = 0;
  for (const Value group : Elements(document->root(), "group")) {
    const std::string place = "/group/" + std::to_string(group_index++);
    const std::string system = Text(group, "target");
    if (Text(group, "source") != kOurSystem) return At(file, place + "/source", kOurSystem);
    if (system.empty()) return At(file, place + "/target", "the canonical of a code system");
    std::size_t element_index = 0;
    for (const Value element : Elements(group, "element")) {
      const std::string where = place + "/element/" + std::to_string(element_index++);
      for (const Value json : Elements(element, "target")) {
        const int rank = Rank(Text(json, "equivalence"));
        if (rank < 0) continue;
        Target target{Text(element, "code"),
                      {},
                      {},
                      {system, Text(json, "code"), Text(json, "display")},
                      rank,
                      {}};
        if (target.source.empty() || target.coding.code.empty() ||
            !ReadConditions(json, system, target)) {
          return At(file, where,
                    "a code of ours and targets with a code and at most one dependsOn");
        }
        if (!seen.emplace(target.source, target.qualifier, system).second) {
          return At(file, where, "one target for each source, qualifier and system");
        }
        targets.push_back(std::move(target));
      }
    }
  }
  return targets;
}

}  // namespace dwell::codes
