// A value of a document, written out again: compact, numbers with the text they came in with.
#pragma once

#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::schemas {

/// As deep as the document, which its parser's limit bounds.
void WriteValue(JsonWriter& json, Value value);

}  // namespace dwell::schemas
