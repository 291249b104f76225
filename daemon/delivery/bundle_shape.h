// What an answer looks like from outside: which resource, how many entries, and which of them were
// not taken. Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/delivery/issue.h"
#include "schemas/json/document.h"

namespace dwell::delivery {

/// Bounds on what we read of an answer.
inline constexpr schemas::ParseLimits kAnswerLimits{.bytes_max = limits::kResponseBytesMax};

/// Whether the object has a string of that name with that text.
bool Says(const schemas::Value& object, std::string_view member, std::string_view text);

/// Whether a status says that a resource was written: 200, 201, or 204, which RFC 9110 allows for
/// a PUT.
bool IsTaken(int status);

/// An entry that was not taken.
struct BadEntry {
  std::size_t number = 0;  ///< from 1
  int status = 0;          ///< for which IsTaken() is false
  Issue issue = Issue::kNone;
  std::string outcome;  ///< its OperationOutcome as text; empty: none
};

/// What the body of an answer says.
struct Answered {
  enum class Shape {
    kNotJson,   ///< empty, cut off or something else
    kOther,     ///< JSON, but neither of these
    kResponse,  ///< a transaction-response whose entries all have a status
    kBatch,     ///< a batch-response likewise
  };
  Shape shape = Shape::kNotJson;
  std::size_t entries = 0;
  std::vector<BadEntry> bad;  ///< in order
};

/// FHIR R4 http.html#transaction-response: one entry for each entry of the request, each with a
/// response.status that begins with the HTTP status.
Answered ReadAnswer(std::string_view body);

/// Whether the body is a resource of that type.
bool IsResource(std::string_view body, std::string_view type);

}  // namespace dwell::delivery
