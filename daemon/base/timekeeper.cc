#include "daemon/base/timekeeper.h"

#include <utility>

namespace dwell::base {

using std::chrono::milliseconds;

std::optional<ClockStep> Timekeeper::TakeNews() { return std::exchange(news_, std::nullopt); }

milliseconds Timekeeper::Ahead(const ClockReading& reading) {
  if (!base_) base_ = reading;
  return (reading.wall - base_->wall) - (reading.steady - base_->steady);
}

Instant Timekeeper::Followed(const ClockReading& reading) {
  if (ahead_ != milliseconds(0)) news_ = ClockStep{ahead_, false, true};
  ahead_ = milliseconds(0);
  base_ = reading;
  return reading.wall;
}

Instant Timekeeper::Stepped(const ClockReading& reading, milliseconds ahead, bool is_vouched) {
  if (is_vouched) {
    news_ = ClockStep{ahead, true, false};
    ahead_ = milliseconds(0);
    base_ = reading;
    return reading.wall;
  }
  const milliseconds change = ahead - ahead_;
  if (change > kFollowedMax || change < -kFollowedMax) {
    news_ = ClockStep{ahead, false, false};
    ahead_ = ahead;
  }
  return base_->wall + (reading.steady - base_->steady);
}

}  // namespace dwell::base
