// A clock that stands still until it is set.
#pragma once

#include <atomic>

#include "daemon/base/clock.h"

namespace dwell::test {

class ManualClock final : public base::Clock {
 public:
  explicit ManualClock(Instant now) : now_(now.time_since_epoch().count()) {}
  Instant Now() const override { return Instant(std::chrono::milliseconds(now_.load())); }
  void Set(Instant now) { now_ = now.time_since_epoch().count(); }
  void Advance(std::chrono::milliseconds by) { now_ += by.count(); }

 private:
  std::atomic<std::chrono::milliseconds::rep> now_;
};

}  // namespace dwell::test
