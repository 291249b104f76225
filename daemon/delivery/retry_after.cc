#include "daemon/delivery/retry_after.h"

#include <algorithm>

#include "daemon/base/limits.h"
#include "daemon/delivery/http_date.h"

namespace dwell::delivery {

std::optional<std::chrono::seconds> ReadRetryAfter(std::string_view text, std::string_view date,
                                                   Instant now) {
  constexpr std::chrono::seconds kMost = limits::kRetryAfterMax;
  if (text.empty()) return std::nullopt;
  if (std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; })) {
    std::chrono::seconds wait{0};
    for (const char c : text) wait = std::min(kMost, wait * 10 + std::chrono::seconds(c - '0'));
    return wait;
  }
  const std::optional<Instant> until = ReadHttpDate(text, now);
  if (!until) return std::nullopt;
  const Instant from = ReadHttpDate(date, now).value_or(now);
  const auto wait = std::chrono::ceil<std::chrono::seconds>(*until - from);
  return std::clamp(wait, std::chrono::seconds(0), kMost);
}

}  // namespace dwell::delivery
