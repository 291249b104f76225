// The XHTML of a FHIR narrative.
#pragma once

#include <string_view>

namespace dwell::schemas {

/// True for a well-formed `<div xmlns="http://www.w3.org/1999/xhtml">` with some content, made only
/// of the elements, attributes and entities that FHIR R4 allows (hl7.org/fhir/R4/narrative.html,
/// invariants txt-1 and txt-2): no scripts, no forms, no comments, no processing instructions.
bool IsNarrativeXhtml(std::string_view text);

}  // namespace dwell::schemas
