// How many events ended how, since the start; for metrics.
#pragma once

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>

#include "daemon/intake/examine.h"
#include "daemon/ledger/ledger.h"

namespace dwell::intake {

/// What became of an event that somebody sent.
enum class EventEnd : std::uint8_t {
  kStored,         ///< new; committed and synced
  kRepeated,       ///< the same event as before
  kNotJson,        ///< or framed wrongly inside
  kTooLarge,       ///< an event, or a batch: that counts once
  kContract,       ///< legal JSON, not a legal event
  kContradiction,  ///< a legal event that its line's life does not allow
  kConflict,       ///< its id was used for another
  kNotNow,         ///< no room, draining or stopped: the sender keeps it; a batch counts once
};
inline constexpr std::size_t kEventEnds = 8;

EventEnd EndOf(const ledger::Receipt& receipt);
EventEnd EndOf(const Refusal& refusal);

/// Safe from any thread.
class Tally {
 public:
  using Counts = std::array<std::uint64_t, kEventEnds>;  ///< by EventEnd

  void Count(EventEnd end) {
    counts_[static_cast<std::size_t>(end)].fetch_add(1, std::memory_order_relaxed);
  }
  Counts Read() const;

 private:
  std::array<std::atomic<std::uint64_t>, kEventEnds> counts_{};
};

}  // namespace dwell::intake
