// What the endpoint's answer to a read of one resource means. One table, pure.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "daemon/net/exchange.h"
#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::reconcile {

struct ReadBack {
  enum class Course : std::uint8_t {
    kHeld,        ///< here it is
    kMissing,     ///< the endpoint itself says that it does not hold it
    kSeveral,     ///< it holds more than one that carries the identifier
    kUnreadable,  ///< no answer to the question; asking again would not help
    kAgain,       ///< no answer this time
    kPause,       ///< the endpoint answers nothing at present: the whole run waits
  };
  Course course = Course::kUnreadable;
  std::optional<schemas::Document> resource;  ///< for kHeld
  /// For kHeld: meta.lastUpdated, moved from the endpoint's clock to ours by the answer's Date, if
  /// the two can be read.
  std::optional<Instant> changed_at;
  std::optional<std::chrono::seconds> retry_after;  ///< for kPause: how long it asks us to wait
  int status = 0;                                   ///< of the answer; 0: none
  std::string why;  ///< when not held, in words; holds nothing that the peer wrote
};

/// The answer to GET [base]/type/id (FHIR R4 http.html#read). Missing is only what the FHIR server
/// says so itself: 410, or 404 with FHIR JSON; any other 404 may come from something before it.
ReadBack JudgeRead(const net::Exchange& exchange, std::string_view type, std::string_view id,
                   Instant now);

/// The answer to GET [base]/`search`, see AsWritten::search (FHIR R4 search.html). Missing is only
/// a result that says so; never is one of several chosen.
ReadBack JudgeFind(const net::Exchange& exchange, std::string_view search, Instant now);

/// HTTP 403: not allowed to read it, and perhaps nothing of its type.
inline constexpr int kStatusForbidden = 403;

}  // namespace dwell::reconcile
