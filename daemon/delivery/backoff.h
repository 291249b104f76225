// How long to wait before the next attempt: (attempts so far, a random number) -> time.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>

#include "daemon/base/limits.h"

namespace dwell::delivery {

/// Gives uniformly distributed numbers. Called on one thread.
using Random = std::function<std::uint64_t()>;

struct Backoff {
  std::chrono::milliseconds first = limits::kBackoffMin;
  std::chrono::milliseconds most = limits::kBackoffMax;
};

/// Doubles with each failed attempt (1, 2, 3 ...) up to the limit, then takes between half and all
/// of it by chance, so that those who failed together do not come back together.
std::chrono::milliseconds WaitAfter(const Backoff& backoff, std::uint32_t attempts,
                                    std::uint64_t random);

/// For what is waited for by age and not by attempts: a quarter of the age so far, within the same
/// limits and with the same share of chance, so it is looked for less and less often.
std::chrono::milliseconds WaitAtAge(const Backoff& backoff, std::chrono::milliseconds age,
                                    std::uint64_t random);

}  // namespace dwell::delivery
