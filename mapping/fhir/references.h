// References to patients and encounters, which the hospital record knows and we know by identifier
// only: as the identifier alone, or as a search that the endpoint runs inside the transaction.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "schemas/json/writer.h"

namespace dwell::fhir {

enum class ReferenceForm : std::uint8_t {
  kIdentifier,   ///< {"type","identifier"}: a logical reference (R4 references.html#logical)
  kConditional,  ///< the same, and "reference" as a search (R4 http.html#trules, "conditional
                 ///< references"): legal inside a transaction only, and that is all we send
};

/// "Patient?identifier=system%7Cvalue". What a search token would take for a separator is escaped
/// (R4 search.html#escaping), then everything but RFC 3986's unreserved characters is
/// percent-encoded, so that one identifier can never be read as two, nor as another parameter.
std::string ConditionalReference(std::string_view type, std::string_view system,
                                 std::string_view value);

/// The reference as a value, in that form; the identifier is always in it.
void WriteKnownReference(schemas::JsonWriter& json, std::string_view type, std::string_view system,
                         std::string_view value, ReferenceForm form);

}  // namespace dwell::fhir
