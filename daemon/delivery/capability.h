// What an endpoint says of itself: (CapabilityStatement) -> what matters to us of it. Pure.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/base/result.h"

namespace dwell::delivery {

/// One resource type of the statement (rest.resource). What the statement leaves out is empty, and
/// is not the same as "no".
struct TypeCapability {
  std::string type;
  std::vector<std::string> interactions;  ///< codes, e.g. "update", "search-type"
  std::optional<bool> update_create;      ///< a client may choose the id
  std::optional<bool> conditional_create;
  std::optional<bool> conditional_update;
  std::vector<std::string> reference_policies;  ///< codes, e.g. "literal", "logical"
  std::vector<std::string> search_parameters;   ///< names

  bool Has(std::string_view interaction) const;
};

/// FHIR R4 capabilitystatement.html; the members read are the same in R4B and R5. Texts are the
/// peer's own: cut and cleaned before they are shown.
struct Capability {
  std::string fhir_version;
  std::vector<std::string> formats;       ///< "json" or MIME types
  bool is_server = false;                 ///< there is a `rest` of mode "server"; from it the rest
  std::vector<std::string> interactions;  ///< of the whole system, e.g. "transaction", "batch"
  std::vector<TypeCapability> types;
  std::vector<std::string> security_services;  ///< codes, e.g. "SMART-on-FHIR"

  /// Null when the statement does not list the type.
  const TypeCapability* Find(std::string_view type) const;
};

/// Why a body is no statement.
struct NoCapability {
  std::string instead;  ///< what it is, in words that hold nothing of it
};

Result<Capability, NoCapability> ReadCapability(std::string_view body);

/// What a server says of its tokens.
struct SmartConfiguration {
  std::string token_endpoint;
  std::vector<std::string> auth_methods;  ///< token_endpoint_auth_methods_supported
};

/// [base]/.well-known/smart-configuration (SMART App Launch 2.2.0, conformance). Empty when the
/// body is no JSON object.
std::optional<SmartConfiguration> ReadSmartConfiguration(std::string_view body);

/// Whether `list` has `word`.
bool Lists(const std::vector<std::string>& list, std::string_view word);

}  // namespace dwell::delivery
