// Instants on the UTC line that remember how the sender wrote them.
#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace dwell {

/// An instant, to the millisecond, on the UTC line. Limits are counted on this line.
using Instant = std::chrono::sys_time<std::chrono::milliseconds>;

/// An instant with the text it came with (RFC 3339 with offset), kept for display.
struct Moment {
  Instant instant{};
  std::string text;

  friend bool operator==(const Moment&, const Moment&) = default;
};

/// Reads an RFC 3339 date-time with seconds and offset ("2026-03-27T10:00:00+01:00", fraction up to
/// milliseconds used, the rest dropped). Second 60 counts as the next second. Empty when it is
/// none, or when the calendar day does not exist.
std::optional<Moment> ReadMoment(std::string_view text);

/// "2026-03-27T09:00:00Z", or with ".250" when there are milliseconds. Legal as FHIR instant and
/// dateTime.
std::string FormatInstant(Instant instant);

}  // namespace dwell
