// Where each field of an event ends up, found out by trying: the same life is made with the field
// altered and with it left out, and what comes out differently is where it went. No table to keep.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "mapping/codes/codes.h"
#include "mapping/fhir/bundle.h"
#include "schemas/bundled.h"

namespace dwell::explain {

/// What a value of the field comes to in an element.
struct Becomes {
  std::string value;  ///< a word of the enumeration or a code; empty: whatever the value is
  std::vector<codes::Coding> codings;  ///< one without a code: the value itself is the code
  std::string words;  ///< text beside the codings, or the FHIR code, "true" or "false"

  /// Only our own code and words: neither the maps nor HL7 have one for it.
  bool IsOwnOnly() const;
  friend bool operator==(const Becomes&, const Becomes&) = default;
};

struct Row {
  std::string field;  ///< JSON Pointer into the event, see Field
  /// FHIR resource type; empty for a field that changes no resource: it is kept with the raw event.
  std::string type = {};
  std::string role = {};  ///< what the resource is: "insertion", "first-flush", "removal-due"
  /// See Element::path; empty when the field decides whether there is such a resource at all,
  /// "text" when it is told in the narrative only.
  std::string element = {};
  std::vector<codes::Coding> about =
      {};  ///< the code that names the element: of a component, a score
  /// Of an enumeration or a code each value in the order of the contract or of our CodeSystem, the
  /// site's own codes last; else what is coded whatever the value is, such as a unit.
  std::vector<Becomes> values = {};
  bool narrative = false;  ///< the narrative of the resource tells it too
  std::string why = {};    ///< why it changes no resource; empty when it does

  friend bool operator==(const Row&, const Row&) = default;
};

/// The kinds of event, in the order of the contract.
std::vector<std::string_view> Kinds();

/// In the order of the contract, then of the bundle; of a list the first entry, and the second
/// where that ends up elsewhere. `kind` is one of Kinds(); `context` is the running one, with code
/// maps and zone; `schemas` are of its release.
std::vector<Row> Explain(std::string_view kind, const schemas::Bundled& schemas,
                         const fhir::Context& context);

}  // namespace dwell::explain
