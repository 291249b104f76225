#include "daemon/alarm/schedule.h"

#include <algorithm>

#include "daemon/base/limits.h"

namespace dwell::alarm {

void Schedule::News() {
  look_ = true;
  again_at_.reset();
}

bool Schedule::Begin(Instant now, Steady steady) {
  if (in_flight_ || (again_at_ && *again_at_ > steady)) return false;
  if (caught_up_to_ != Instant::min() && now + limits::kSetBackMin < caught_up_to_) look_ = true;
  if (!look_ && (!next_ || *next_ > now)) {
    caught_up_to_ = now;  // the next thing falls due after now
    return false;
  }
  look_ = false;
  in_flight_ = true;
  begun_at_ = now;
  return true;
}

void Schedule::Ended(std::optional<Instant> next) {
  in_flight_ = false;
  pause_ = std::chrono::seconds(0);
  again_at_.reset();
  next_ = next;
  caught_up_to_ = begun_at_;
}

bool Schedule::Failed(Steady steady) {
  in_flight_ = false;
  look_ = true;
  const bool is_first = pause_.count() == 0;
  pause_ = std::clamp(pause_ * 2, limits::kAlarmAgainMin, limits::kAlarmAgainMax);
  again_at_ = steady + pause_;
  return is_first;
}

}  // namespace dwell::alarm
