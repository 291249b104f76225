// Other values for a field, and documents with one value changed. Pure text work: whether the
// result is a legal event is for the caller to find out.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "mapping/explain/contract.h"
#include "schemas/json/document.h"

namespace dwell::explain {

/// The value as JSON text.
std::string JsonText(schemas::Value value);

/// `text` as a JSON string.
std::string Quoted(std::string_view text);

/// The document with the value at `pointer` replaced by the JSON text `json`, or left out when that
/// is empty. Unchanged when there is no such value.
std::string Rewrite(schemas::Value root, std::string_view pointer, std::string_view json);

/// A code that no map knows.
inline constexpr std::string_view kUnknownCode = "in-no-map";

/// JSON texts that could stand in place of `old`, the likeliest to be legal first; one is as good
/// as another. None for an enumeration: its words say all.
std::vector<std::string> OtherValues(const Field& field, schemas::Value old);

}  // namespace dwell::explain
