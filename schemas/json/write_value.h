// A value of a document as JSON text again.
#pragma once

#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::schemas {

/// Writes the value with all below it: members in their order, numbers by their text.
void WriteValue(JsonWriter& json, Value value);

}  // namespace dwell::schemas
