#include "daemon/delivery/clock_skew.h"

#include "daemon/base/limits.h"
#include "daemon/delivery/http_date.h"

namespace dwell::delivery {
namespace {

bool IsBeyond(std::chrono::seconds difference) {
  return difference > limits::kClockSkewMax || difference < -limits::kClockSkewMax;
}

}  // namespace

bool ClockSkew::Look(std::string_view date, Instant now) {
  const auto theirs = ReadHttpDate(date, now);
  if (!theirs) return false;
  ahead_ = std::chrono::floor<std::chrono::seconds>(now - *theirs);
  const std::chrono::seconds say = trouble().value_or(std::chrono::seconds(0));
  const bool is_news = IsBeyond(say - told_);
  if (is_news) told_ = say;
  return is_news;
}

std::optional<std::chrono::seconds> ClockSkew::trouble() const {
  if (!IsBeyond(ahead_)) return std::nullopt;
  return ahead_;
}

}  // namespace dwell::delivery
