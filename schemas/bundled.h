// The schemas that travel inside the program: the contract of ward events and the structure of the
// FHIR resources we make, by FHIR's own definitions and by our profiles. Compiled once at start.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "schemas/release.h"
#include "schemas/schema.h"

namespace dwell::schemas {

/// The text of a bundled file by its path below schemas/, e.g. "event/flush.schema.json".
std::optional<std::string_view> BundledText(std::string_view path);

/// By what resources are checked: the bare definitions of FHIR, or narrower, our profiles of them
/// (schemas/profiles). A type that we have no profile of (Bundle, OperationOutcome, and what a
/// Bundle holds) is checked by the bare definitions in both.
enum class Structure : std::uint8_t { kFhir, kProfiles };

/// The six event contracts and the structures of one FHIR release, compiled. Build once, share by
/// reference.
class Bundled {
 public:
  /// Compiles only what that release needs. Fails (ErrorKind::kData) when a bundled schema does not
  /// compile: a broken build.
  static Result<Bundled> Load(FhirRelease release = FhirRelease::kR4,
                              Structure structure = Structure::kProfiles);

  /// Checks a ward event by its `kind` (version 1 of the contract). An unknown or missing kind is
  /// itself a violation at "/kind".
  std::vector<Violation> CheckEvent(Value event) const;

  /// Checks a resource of that FHIR release by its `resourceType`, against the structure that
  /// was loaded. A type that we never make is a violation at "/resourceType".
  std::vector<Violation> CheckResource(Value resource) const;

 private:
  Bundled() = default;
  using Table = std::vector<std::pair<std::string, Schema>>;
  static std::vector<Violation> CheckBy(const Table& table, std::string_view member, Value value);

  Table events_;     ///< by kind
  Table resources_;  ///< by resourceType
};

}  // namespace dwell::schemas
