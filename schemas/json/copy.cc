#include "schemas/json/copy.h"

namespace dwell::schemas {

void WriteValue(JsonWriter& json, Value value) {
  switch (value.kind()) {
    case Kind::kNull:
      return json.Null();
    case Kind::kBool:
      return json.Bool(value.AsBool());
    case Kind::kNumber:
      return json.Raw(value.NumberText());
    case Kind::kString:
      return json.String(value.AsString());
    case Kind::kArray:
      json.BeginArray();
      for (const Value child : value) WriteValue(json, child);
      return json.EndArray();
    case Kind::kObject:
      json.BeginObject();
      for (const Value child : value) {
        json.Name(child.name());
        WriteValue(json, child);
      }
      return json.EndObject();
  }
}

}  // namespace dwell::schemas
