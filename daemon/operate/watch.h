// Whether every working thread still moves. Pure: told of time, decides whom to ask, who is stuck
// and whether the service manager may hear that all is well. Times are of the steady clock.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string_view>
#include <vector>

#include "daemon/base/log.h"

namespace dwell::operate {

using SteadyTime = std::chrono::steady_clock::time_point;

/// A thread of the daemon. A question that it answers shows that it moves: idle is not stuck.
enum class Worker : std::uint8_t {
  kNet,       ///< takes events and operators
  kStore,     ///< writes to the disk
  kDelivery,  ///< one for each endpoint
  kAlarm,     ///< the clock of what falls due
};
/// "net", "store", "delivery", "alarm".
log::Literal LogName(Worker worker);
inline std::string_view WorkerName(Worker worker) { return LogName(worker).text(); }

class Watch {
 public:
  /// `workers`: how many; they are known by their place from 0. A question that waits for
  /// `stuck_after` makes its worker stuck. Each counts as having moved at `now`.
  Watch(std::size_t workers, SteadyTime now, std::chrono::milliseconds stuck_after);

  /// Whom to ask now: all that do not owe an answer.
  std::vector<std::size_t> Ask(SteadyTime now);
  /// The question was answered.
  void Moved(std::size_t worker, SteadyTime now);

  struct Change {
    std::size_t worker = 0;
    bool is_stuck = false;
    std::chrono::milliseconds silent{
        0};  ///< since it last moved; for one that moves again: so long
  };
  /// Who became stuck, or moves again, since the last look. After a look that came late (the
  /// machine slept, the process was stopped) the questions count from now: a watcher that stood
  /// still cannot say who else did.
  std::vector<Change> Look(SteadyTime now);

  /// As of the last look.
  bool is_stuck(std::size_t worker) const { return rows_[worker].is_stuck; }
  bool any_stuck() const;
  /// Whether each answered a question after `since`.
  bool AllMovedSince(SteadyTime since) const;

 private:
  struct Row {
    std::optional<SteadyTime> asked;  ///< and not answered
    SteadyTime moved;                 ///< last
    SteadyTime moved_before;          ///< the time before that
    bool is_stuck = false;
  };
  std::chrono::milliseconds stuck_after_;
  std::vector<Row> rows_;
  SteadyTime looked_;
};

/// When the service manager is to hear "WATCHDOG=1" (sd_watchdog_enabled(3)): every half of the
/// time that it grants, and only if all moved since the last time.
class Pulse {
 public:
  /// `granted` is what WATCHDOG_USEC says.
  Pulse(std::chrono::microseconds granted, SteadyTime now) : half_(granted / 2), last_(now) {}
  /// Whether to say so now; it then counts as said.
  bool Beat(const Watch& watch, SteadyTime now);

 private:
  std::chrono::microseconds half_;
  SteadyTime last_;
};

/// What WATCHDOG_USEC and WATCHDOG_PID (null: not set) grant the process `pid`; empty: no watchdog,
/// or another's.
std::optional<std::chrono::microseconds> WatchdogTime(const char* usec, const char* pid,
                                                      std::int64_t own_pid);

}  // namespace dwell::operate
