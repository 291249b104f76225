// One change to a JSON value, for tables of changes.
#pragma once

#include <string>
#include <string_view>

#include "schemas/json/document.h"
#include "schemas/json/writer.h"
#include "tests/schemas/files.h"

namespace dwell::schemas {

/// Writes `value` with the member or element at `path` ("/subject/type", "/component/0") as `json`,
/// or without it where `json` is empty. A member that is not there is added; a path that leads
/// nowhere changes nothing.
inline void WriteChanged(Value value, std::string_view path, std::string_view json,
                         JsonWriter* out) {
  const std::string_view rest = path.substr(1);
  const std::size_t end = rest.find('/');
  const std::string_view wanted = rest.substr(0, end);
  const bool is_last = end == std::string_view::npos;
  const bool is_object = value.is_object();
  is_object ? out->BeginObject() : out->BeginArray();
  std::size_t index = 0;
  for (const Value child : value) {
    const bool is_wanted = wanted == (is_object ? child.name() : std::to_string(index));
    ++index;
    if (is_wanted && is_last && json.empty()) continue;
    if (is_object) out->Name(child.name());
    if (!is_wanted) {
      WriteJson(child, out);
    } else if (is_last) {
      out->Raw(json);
    } else {
      WriteChanged(child, rest.substr(end), json, out);
    }
  }
  if (is_object && is_last && !json.empty() && !value.Find(wanted)) {
    out->Name(wanted);
    out->Raw(json);
  }
  is_object ? out->EndObject() : out->EndArray();
}

}  // namespace dwell::schemas
