// What the answer of a token endpoint means: (exchange) -> a token, or why there is none and
// whether a person must do something. One table, pure.
#pragma once

#include <chrono>
#include <optional>
#include <string>

#include "daemon/net/exchange.h"
#include "mapping/event/moment.h"

namespace dwell::delivery {

struct TokenAnswer {
  enum class Course : std::uint8_t {
    kToken,    ///< here it is
    kRefused,  ///< asking again changes nothing until a person has done something
    kLater,    ///< ask again later
  };
  Course course = Course::kLater;
  std::string token;                 ///< for kToken: fit for a header field
  std::chrono::seconds lifetime{0};  ///< for kToken; limits::kTokenLifeDefault when it was not told
  std::optional<std::chrono::seconds> retry_after;  ///< how long we were asked to wait
  int status = 0;                                   ///< HTTP status; 0: there is no answer
  std::string why;  ///< for the others, in words; holds nothing that the peer wrote
};

/// RFC 6749 sections 5.1 and 5.2, RFC 6750, SMART App Launch 2.2.0 backend-services. `now` is only
/// for reading a Retry-After date.
TokenAnswer JudgeTokenAnswer(const net::Exchange& exchange, Instant now);

}  // namespace dwell::delivery
