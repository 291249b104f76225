// References as they were sent, and what an endpoint makes of them. Pure.
#pragma once

#include <string>
#include <string_view>

#include "schemas/json/document.h"

namespace dwell::reconcile {

/// Whether the value is a FHIR Reference: an object that names something by "reference" or by an
/// "identifier" object, with nothing in it that a Reference has not.
bool IsReference(schemas::Value value);

/// "Patient/17" of a reference to a resource of the endpoint: relative or below `base`, with or
/// without a version (R4 references.html#literal); empty for anything else.
std::string LiteralOf(std::string_view reference, std::string_view base);

/// The search that finds what the Reference names by type and identifier, as
/// fhir::ConditionalReference() writes it; empty when it has no identifier.
std::string SearchFor(schemas::Value reference);

/// The type that the Reference is about; empty when it does not say.
std::string_view TypeOf(schemas::Value reference);

/// A text member of an object; empty when there is none.
std::string_view TextIn(schemas::Value object, std::string_view member);

}  // namespace dwell::reconcile
