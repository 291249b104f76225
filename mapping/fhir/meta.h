// Resource.meta of what we make: where it comes from, which profile it keeps to, and its security
// labels.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/writer.h"

namespace dwell::fhir {

/// A security label (R4 security-labels.html).
struct SecurityLabel {
  std::string system;  ///< an absolute URI
  std::string code;
  std::string display;  ///< or empty
};

/// Reads "system|code" or "system|code|display"; empty when it is neither.
std::optional<SecurityLabel> ReadSecurityLabel(std::string_view text);

/// The array for meta.security: the test label first when asked for; empty text without any label.
std::string SecurityJson(bool test_data, const std::vector<SecurityLabel>& labels);

/// Canonical of our profile for a resource type of any release that we write, with its version;
/// empty for a type that has none.
std::string_view ProfileOf(std::string_view type);

/// {"source","profile","security"} as a value; an empty `profile` or `security_json` is left out.
void WriteMeta(schemas::JsonWriter& json, std::string_view source, std::string_view profile,
               std::string_view security_json);

}  // namespace dwell::fhir
