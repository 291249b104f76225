// How a request of the admin socket is read.
#pragma once

#include <string>
#include <string_view>

#include "schemas/json/document.h"

namespace dwell::admin {

/// The text of a member of the request (an object); empty when it is not there or no text.
inline std::string TextOf(schemas::Value request, std::string_view name) {
  const auto value = request.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

/// Whether a member of the request is true.
inline bool IsSet(schemas::Value request, std::string_view name) {
  const auto value = request.Find(name);
  return value && value->is_bool() && value->AsBool();
}

}  // namespace dwell::admin
