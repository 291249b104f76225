// How delivery is getting on, for `dwell queue` and the status line.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

#include "daemon/delivery/write_style.h"

namespace dwell::delivery {

struct Progress {
  /// Bundles by how their attempts ended, since the start; the last also holds those below.
  std::uint64_t completed = 0, refused = 0, again = 0;
  std::uint64_t paused = 0;   ///< of `again`: the endpoint took nothing at all
  std::uint64_t unknown = 0;  ///< of `again`: it does not know yet what the bundle names
  /// Of the steady clock: until then nothing is sent, as the endpoint takes nothing. In the past:
  /// there is no pause.
  std::chrono::steady_clock::time_point paused_until{};
  std::size_t in_flight = 0;  ///< requests, or what belongs together of them
  std::string writes;         ///< in which style and why; one line, for people
  Interaction interaction = Interaction::kTransaction;  ///< the style
  Identity identity = Identity::kUpdateAsCreate;
  std::optional<Identity> holds;  ///< by what it holds resources of ours; empty: it holds none
  std::size_t entries_max = 0;    ///< of a request that several bundles share; may be learned
  std::string last_failure;       ///< in words; empty while all is well
  /// How far our clock is ahead of the endpoint's or the token endpoint's (negative: behind), when
  /// that is more than limits::kClockSkewMax.
  std::optional<std::chrono::seconds> clock_ahead;
};

}  // namespace dwell::delivery
