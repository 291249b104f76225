// The resources of a line taken apart into elements, so that two makings can be compared.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/codes/codes.h"
#include "mapping/fhir/bundle.h"

namespace dwell::explain {

struct ElementValue {
  std::string json;                    ///< a reference to one of our resources as its type and role
  std::vector<codes::Coding> codings;  ///< of a coded value, or the coded unit of a quantity
  /// The text of a coded value, a FHIR code ("not-done"), "true" or "false"; else empty.
  std::string words;
  friend bool operator==(const ElementValue& a, const ElementValue& b) { return a.json == b.json; }
};

/// One element, or all of its name within an array.
struct Element {
  /// Below the resource, names joined by '.', what an array's entry is about in brackets:
  /// "component[pain].valueCodeableConcept".
  std::string path;
  std::vector<ElementValue> values;
  std::vector<codes::Coding> about;  ///< what it is recorded as: code of the component, ...
};

struct Portrait {
  std::string type;
  std::string role;    ///< "insertion", "first-flush", "removal-due"; empty for a Provenance
  std::size_t number;  ///< among those of the same type and role
  std::vector<Element> elements;  ///< in the order of the resource, without the narrative
  std::string narrative;

  bool IsSame(const Portrait& other) const {
    return type == other.type && role == other.role && number == other.number;
  }
  const Element* Find(std::string_view path) const;
};

/// In the order of the bundle. Ids of ours are told apart by role, so that another id of an event
/// does not make everything look new.
std::vector<Portrait> PortraitsOf(const std::vector<fhir::Resource>& resources,
                                  const codes::CodeMap& codes);

}  // namespace dwell::explain
