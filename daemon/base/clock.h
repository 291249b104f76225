// The only place where the time is asked for. Everything else is given a Clock or an Instant.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>

#include "mapping/event/moment.h"

namespace dwell::base {

/// The time of day. Due times and stamps go by it; waiting for the network never does.
class Clock {
 public:
  virtual ~Clock() = default;
  /// Now, on the UTC line. Safe to call from any thread.
  virtual Instant Now() const = 0;
  /// How far the machine's wall clock is ahead of Now() because somebody set it and nobody vouches
  /// for that (negative: behind); 0: it is not.
  virtual std::chrono::milliseconds wall_ahead() const { return std::chrono::milliseconds(0); }
  /// How often the wall clock was seen to be set since the start, back included.
  virtual std::uint64_t steps() const { return 0; }
};

/// The machine's wall clock, as it is.
class SystemClock final : public Clock {
 public:
  Instant Now() const override;
};

/// The machine's wall clock, as Timekeeper follows it. What it does not follow is logged, and again
/// every hour as long as that lasts.
class KeptClock final : public Clock {
 public:
  KeptClock();
  ~KeptClock() override;
  KeptClock(const KeptClock&) = delete;
  KeptClock& operator=(const KeptClock&) = delete;

  Instant Now() const override;
  std::chrono::milliseconds wall_ahead() const override;
  std::uint64_t steps() const override;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace dwell::base
