// How long a peer asks us to wait: the Retry-After field (RFC 9110 section 10.2.3).
#pragma once

#include <chrono>
#include <optional>
#include <string_view>

#include "mapping/event/moment.h"

namespace dwell::delivery {

/// `text` is a number of seconds or an HTTP date. A date counts from the peer's own `date` field
/// when that can be read, so that a skewed clock on either side does no harm, otherwise from `now`.
/// A past date is 0; anything above limits::kRetryAfterMax is cut to it; empty for anything else
/// ("30s", "-1", "soon"): then our own backoff serves.
std::optional<std::chrono::seconds> ReadRetryAfter(std::string_view text, std::string_view date,
                                                   Instant now);

}  // namespace dwell::delivery
