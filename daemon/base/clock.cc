#include "daemon/base/clock.h"

namespace dwell::base {

Instant SystemClock::Now() const {
  return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
}

}  // namespace dwell::base
