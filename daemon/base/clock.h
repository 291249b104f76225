// The only place where the time is asked for. Everything else is given a Clock or an Instant.
#pragma once

#include "mapping/event/moment.h"

namespace dwell::base {

/// The wall clock. Due times and stamps go by it; waiting for the network never does.
class Clock {
 public:
  virtual ~Clock() = default;
  /// Now, on the UTC line. Safe to call from any thread.
  virtual Instant Now() const = 0;
};

/// The machine's clock.
class SystemClock final : public Clock {
 public:
  Instant Now() const override;
};

}  // namespace dwell::base
