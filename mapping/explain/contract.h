// The members of the event contract, read off its schemas: what there is to explain.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"

namespace dwell::explain {

/// A member that holds a value itself: no object of members, no array.
struct Field {
  /// JSON Pointer into an event; of an array it names the first element: "/staff/0/role".
  std::string pointer;
  std::string type;                ///< "string", "number", "integer", "object"; or empty
  std::string format;              ///< of the schema; or empty
  bool code = false;               ///< a code of our CodeSystem, of the sender's choice
  std::vector<std::string> words;  ///< of an enumeration; else empty
};

/// The fields of that kind of event ("insertion", ...) in the order of the contract. `kind` must be
/// one of the contract.
std::vector<Field> FieldsOf(std::string_view kind);

}  // namespace dwell::explain
