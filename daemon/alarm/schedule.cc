#include "daemon/alarm/schedule.h"

#include <utility>

namespace dwell::alarm {

bool Schedule::Begin(Instant now) {
  if (in_flight_) return false;
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
  failing_ = false;
  next_ = next;
  caught_up_to_ = begun_at_;
}

bool Schedule::Failed() {
  in_flight_ = false;
  look_ = true;
  return !std::exchange(failing_, true);
}

}  // namespace dwell::alarm
