// The durable alarm clock: sees to it that what falls due is told when it falls due, also after the
// daemon was down, the clock was set, or the machine slept. What is due stands in the store; here
// is only the waiting.
#pragma once

#include <chrono>
#include <functional>
#include <memory>

#include "daemon/base/clock.h"
#include "daemon/ledger/ledger.h"

namespace dwell::alarm {

/// Looks at the clock at least this often: so late at most is a due thing told, also after the
/// machine slept or the clock was put right. Short against a minute, long for a CPU.
inline constexpr std::chrono::milliseconds kLookEvery{250};

/// Runs on its own thread from construction to destruction. At the start, when something falls due
/// and when the ledger has news it has the ledger catch up, one catching up at a time.
/// Fails never: what could not be done (full disk) is tried again, less and less often, and at once
/// when an event could be stored; the log says so once.
class Alarm {
 public:
  /// Both outlive it.
  Alarm(ledger::Ledger& ledger, const base::Clock& clock);
  ~Alarm();
  Alarm(const Alarm&) = delete;
  Alarm& operator=(const Alarm&) = delete;

  /// Everything that fell due up to this instant of the wall clock is in the store.
  /// The smallest instant there is while the first catching up has not ended.
  Instant caught_up_to() const;

  /// The wall clock may have moved: look at once. Safe from any thread.
  void Wake();

  /// Calls `moved` from the alarm's thread as soon as that gets to it, or never once it ends. Safe
  /// from any thread.
  void Ask(std::function<void()> moved);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace dwell::alarm
