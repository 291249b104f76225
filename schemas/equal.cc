// Equality of JSON values.
#include <algorithm>

#include "schemas/check.h"
#include "schemas/decimal.h"
#include "schemas/json/writer.h"

namespace dwell::schemas {
namespace {

/// Up to here scalar elements are compared in pairs, without allocation.
constexpr std::size_t kPairwiseMax = 32;

void WriteCanonical(Value value, JsonWriter* out) {
  switch (value.kind()) {
    case Kind::kNull:
      return out->Null();
    case Kind::kBool:
      return out->Bool(value.AsBool());
    case Kind::kNumber:
      return out->Raw(CanonicalDecimal(value.NumberText()));
    case Kind::kString:
      return out->String(value.AsString());
    case Kind::kArray:
      out->BeginArray();
      for (Value element : value) WriteCanonical(element, out);
      return out->EndArray();
    case Kind::kObject: {
      std::vector<Value> members(value.begin(), value.end());
      std::sort(members.begin(), members.end(),
                [](Value a, Value b) { return a.name() < b.name(); });
      out->BeginObject();
      for (Value member : members) {
        out->Name(member.name());
        WriteCanonical(member, out);
      }
      return out->EndObject();
    }
  }
}

bool IsScalar(Value value) { return !value.is_array() && !value.is_object(); }

bool PairwiseDiffer(Value array) {
  for (std::optional<Value> a = array.first(); a; a = a->next()) {
    for (std::optional<Value> b = a->next(); b; b = b->next()) {
      if (Equal(*a, *b)) return false;
    }
  }
  return true;
}

}  // namespace

bool Equal(Value left, Value right) {
  if (left.kind() != right.kind()) return false;
  switch (left.kind()) {
    case Kind::kNull:
      return true;
    case Kind::kBool:
      return left.AsBool() == right.AsBool();
    case Kind::kNumber:
      return std::is_eq(CompareDecimals(left.NumberText(), right.NumberText()));
    case Kind::kString:
      return left.AsString() == right.AsString();
    case Kind::kArray:
    case Kind::kObject:
      break;
  }
  if (left.size() != right.size()) return false;
  if (left.is_array()) {
    std::optional<Value> b = right.first();
    for (Value a : left) {
      if (!Equal(a, *b)) return false;
      b = b->next();
    }
    return true;
  }
  for (Value a : left) {
    const auto b = right.Find(a.name());
    if (!b || !Equal(a, *b)) return false;
  }
  return true;
}

bool AllDiffer(Value array) {
  if (array.size() <= kPairwiseMax && std::all_of(array.begin(), array.end(), IsScalar)) {
    return PairwiseDiffer(array);
  }
  std::vector<std::string> texts;
  for (Value element : array) {
    JsonWriter writer;
    WriteCanonical(element, &writer);
    texts.push_back(writer.Take());
  }
  std::sort(texts.begin(), texts.end());
  return std::adjacent_find(texts.begin(), texts.end()) == texts.end();
}

}  // namespace dwell::schemas
