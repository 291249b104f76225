// Reads FHIR CodeSystem and ConceptMap files into plain lists. Internal to this room.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "mapping/codes/codes.h"
#include "schemas/base/result.h"

namespace dwell::codes {

/// One concept of the CodeSystem.
struct OwnConcept {
  std::string code;
  std::string display;
  std::vector<std::string> groups;
};

/// One target of a ConceptMap.
struct Target {
  std::string place;            ///< JSON Pointer of the element, for messages
  std::string source;           ///< our code, or one of a site
  std::string source_display;   ///< what the map calls it; may be empty
  std::string qualifier_group;  ///< from dependsOn.property: what follows '#'; or empty
  std::string qualifier;        ///< from dependsOn.value; or empty
  /// Without a code where the map says that the system has none ("unmatched", "disjoint").
  Coding coding;
  int rank = 0;              ///< by equivalence: lower is better; see kSaysTheSameMax
  std::vector<Coding> also;  ///< from target.product
};

/// A target up to this rank is "equal" or "equivalent": it says all that our own code says.
inline constexpr int kSaysTheSameMax = 1;

/// "file at "/group/0": expected ...", of kind kConfig.
Error At(const File& file, const std::string& pointer, std::string_view expected);

/// The concepts of a CodeSystem with our canonical, in file order. Fails (kConfig) with file and
/// place.
Result<std::vector<OwnConcept>> ReadCodeSystem(const File& file);

/// The targets of a ConceptMap of R4 from our CodeSystem, in file order. Fails (kConfig) with file
/// and place: a shape that we would not understand whole, a target that could not stand in a FHIR
/// Coding or whose check digit is wrong, the same source, qualifier and system twice, no target at
/// all.
Result<std::vector<Target>> ReadConceptMap(const File& file);

}  // namespace dwell::codes
