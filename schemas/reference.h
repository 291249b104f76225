// The text of a FHIR reference (hl7.org/fhir/R4/references.html): its form and the type it points
// to.
#pragma once

#include <optional>
#include <string_view>

namespace dwell::schemas {

/// The forms a literal reference can have.
struct ReferenceForm {
  /// "Patient" for "Patient/1", "https://x/fhir/Patient/1", "Patient?identifier=..."; empty for
  /// "#id", "urn:uuid:..." and "urn:oid:...", where the text does not tell.
  std::string_view type;
};

/// The form of a reference; empty when it has none of the legal forms: relative or absolute with a
/// type and an id (perhaps a version), a fragment, a URN in lower case, or a search with criteria
/// (legal inside a transaction only).
std::optional<ReferenceForm> ReadReference(std::string_view text);

}  // namespace dwell::schemas
