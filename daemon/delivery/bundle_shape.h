// What the answer to a transaction looks like from outside: how many entries, and whether each was
// taken. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/base/limits.h"
#include "schemas/json/document.h"

namespace dwell::delivery {

/// Bounds on what we read of an answer.
inline constexpr schemas::ParseLimits kAnswerLimits{.bytes_max = limits::kResponseBytesMax};

/// Whether the object has a string of that name with that text.
bool Says(const schemas::Value& object, std::string_view member, std::string_view text);

/// What the body of an answer to a transaction says.
struct Answered {
  enum class Shape {
    kNotJson,   ///< empty, cut off or something else
    kOther,     ///< JSON, but no Bundle of type transaction-response
    kResponse,  ///< a transaction-response whose entries all have a status
  };
  Shape shape = Shape::kNotJson;
  std::size_t entries = 0;
  std::size_t bad_entry = 0;  ///< from 1: the first whose status is not 2xx; 0: none
  int bad_status = 0;         ///< its status
};

/// FHIR R4 http.html#transaction-response: one entry for each entry of the request, each with a
/// response.status that begins with the HTTP status.
Answered ReadAnswer(std::string_view body);

/// Whether the body is an OperationOutcome.
bool IsOperationOutcome(std::string_view body);

}  // namespace dwell::delivery
