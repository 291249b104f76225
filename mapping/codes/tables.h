// Reads FHIR CodeSystem and ConceptMap files into plain lists. Internal to this room.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "mapping/codes/codes.h"
#include "schemas/base/result.h"

namespace dwell::codes {

/// A file as it was handed over: name (for messages) and text.
using File = std::pair<std::string_view, std::string_view>;

/// One concept of the CodeSystem.
struct OwnConcept {
  std::string code;
  std::string display;
  std::vector<std::string> groups;
};

/// One target of a ConceptMap.
struct Target {
  std::string source;           ///< our code
  std::string qualifier_group;  ///< from dependsOn.property: what follows '#'; or empty
  std::string qualifier;        ///< from dependsOn.value; or empty
  Coding coding;
  int rank = 0;              ///< by equivalence: lower is better; see kSaysTheSameMax
  std::vector<Coding> also;  ///< from target.product
};

/// A target up to this rank is "equal" or "equivalent": it says all that our own code says.
inline constexpr int kSaysTheSameMax = 1;

/// The concepts of a CodeSystem with our canonical, in file order. Fails (kConfig) with file and
/// place.
Result<std::vector<OwnConcept>> ReadCodeSystem(const File& file);

/// The targets of a ConceptMap from our CodeSystem, in file order. Fails (kConfig) with file and
/// place, also when the same source, qualifier and system occur twice.
Result<std::vector<Target>> ReadConceptMap(const File& file);

}  // namespace dwell::codes
