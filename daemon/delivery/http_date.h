// Dates as HTTP writes them (RFC 9110 section 5.6.7): text -> instant.
#pragma once

#include <optional>
#include <string_view>

#include "mapping/event/moment.h"

namespace dwell::delivery {

/// All three forms a recipient must read: "Sun, 06 Nov 1994 08:49:37 GMT" (IMF-fixdate),
/// "Sunday, 06-Nov-94 08:49:37 GMT" (RFC 850; a year more than 50 years after `now` is in the past
/// century) and "Sun Nov  6 08:49:37 1994" (asctime). Empty for anything else and for days that do
/// not exist. The name of the weekday is not held against the date.
std::optional<Instant> ReadHttpDate(std::string_view text, Instant now);

}  // namespace dwell::delivery
