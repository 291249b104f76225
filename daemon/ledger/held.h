// What a stored Bundle of ours holds, read back from its bytes. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "mapping/fhir/bundle.h"
#include "schemas/bundled.h"

namespace dwell::ledger {

/// How a resource breaks our own structure, in words without values; empty when it does not.
std::string FaultOf(schemas::Value resource, const schemas::Bundled& schemas);

struct Held {
  std::vector<std::string> names;  ///< "Type/id" of each resource, in order
  std::string fault;  ///< the first resource that breaks our own structure, and how; or empty
};

/// Fails (kData) when the text is no transaction Bundle of ours.
Result<Held> ReadHeld(std::string_view bundle, const schemas::Bundled& schemas);

/// What the bundle held counts as not issued from now on: all of it that the line still calls for
/// is in the next bundle. The entries stay: the endpoint may hold an earlier version, or even this
/// one, and a Task that is not called for any more must then be withdrawn. Returns the names of
/// what is forgotten so: all but the Provenance, which is about that one bundle.
std::vector<std::string> ForgetIssued(const Held& held, std::vector<fhir::Issued>& issued);

}  // namespace dwell::ledger
