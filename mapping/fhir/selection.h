// What of a bundle goes to an endpoint that takes only some types of resources. Pure.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "mapping/fhir/bundle.h"

namespace dwell::fhir {

/// Names of resource types; empty: all.
using Types = std::set<std::string, std::less<>>;

/// Those of `resources` (of this line, as Make() made them) that are of these types, in the same
/// order. What refers to one of our resources of another type names it by its business identifier
/// too (Reference.type and Reference.identifier), because it may never come to be at its place at
/// the endpoint; one that no longer follows from the line, by the UUID of its fullUrl. Empty when
/// nothing but a Provenance would be left: it would tell of nothing.
std::vector<Resource> Select(const Types& types, const std::vector<Resource>& resources,
                             const line::Line& line, const std::vector<due::Due>& dues,
                             const Context& context);

}  // namespace dwell::fhir
