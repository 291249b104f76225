// Whether the endpoint as a whole takes anything, and how much of it we may send at once. Pure:
// told of each attempt and the time.
#pragma once

#include <chrono>
#include <cstddef>
#include <optional>

#include "daemon/delivery/backoff.h"
#include "daemon/delivery/outcome.h"

namespace dwell::delivery {

/// While the endpoint is down everything waits; then one attempt probes, and each success doubles
/// what may be in flight, so that the lanes come back without a stampede. Times are of the steady
/// clock.
class Health {
 public:
  using Time = std::chrono::steady_clock::time_point;

  Health(std::size_t in_flight_max, Backoff backoff);

  /// Does as the sign says: one of the following, or nothing.
  void Heed(const Sign& sign, Time now, std::uint64_t random);

  void Succeeded();
  /// The endpoint answered, but could not serve: several in a row (of different bundles) are a
  /// pause.
  void Strained(Time now, std::uint64_t random);
  /// The endpoint cannot be used, or asks us to wait for `asked`: pause at once.
  void Down(Time now, std::optional<std::chrono::milliseconds> asked, std::uint64_t random);

  /// How many attempts may be in flight at `now`: 0 in a pause.
  std::size_t Allowed(Time now) const;
  /// Whether attempts flow at full width, so that fetching ahead makes sense.
  bool is_well() const { return allowed_ == in_flight_max_; }
  /// When the pause ends; in the past: there is none.
  Time paused_until() const { return paused_until_; }

 private:
  static constexpr std::uint32_t kStrainsMax = 3;

  std::size_t in_flight_max_;
  Backoff backoff_;
  std::size_t allowed_;
  std::uint32_t pauses_ = 0;   ///< in a row
  std::uint32_t strains_ = 0;  ///< in a row
  Time paused_until_{};
};

}  // namespace dwell::delivery
