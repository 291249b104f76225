// The regular clean-up of the store: what was delivered or cancelled long enough ago loses its
// body, a line that ended long ago loses its events, and the file shrinks again. Nothing that is
// still to be delivered, or to be done, is ever touched.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>

#include "daemon/base/clock.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/writer.h"

namespace dwell::retention {

/// The clock is looked at this often, on the steady clock: long for a CPU, short against an hour.
inline constexpr std::chrono::milliseconds kLookEvery{1000};

/// How long things are kept, in days of 24 hours; 0: for ever.
struct Lifetimes {
  std::chrono::days delivered{0};     ///< bodies, from settling on
  std::chrono::days closed_lines{0};  ///< lines that ended, from their newest event on
};

/// A clean-up that went through.
struct CleanUp {
  Instant at{};               ///< when it began: it removed what was old enough at that instant
  std::uint64_t bundles = 0;  ///< whose bodies it removed
  std::uint64_t lines = 0;    ///< that it stopped keeping
  std::uint64_t events = 0;   ///< of those lines, whose bytes it removed
  std::uint64_t pages = 0;    ///< of 8 KiB that it gave back to the file system
};

/// What a step starts from: nothing that is younger goes; empty: nothing goes at all.
struct Task {
  Instant now{};
  std::optional<Instant> bodies_until;
  std::optional<Instant> lines_until;
  store::QuietLine after;  ///< the last line looked at
};

/// The step that a clean-up repeats until there is nothing left to do.
struct Step {
  std::size_t bundles = 0;
  ledger::StoppedKeeping lines;
  std::size_t pages = 0;
  bool has_room = true;  ///< on the store's file system
  /// Nothing was removed by its age, because the wards' own clocks do not bear ours out.
  bool waits_for_wards = false;
};

/// Whether the wards' clocks bear out that it is `now`: the newest event was recorded not longer
/// ago than limits::kCleanUpQuietMax, or there is none. A clock that stands years ahead at a start
/// must not make everything old. Errors: the store's.
Result<bool> IsBorneOut(store::Store& store, Instant now);

/// Removes the next few bodies of what was settled long enough ago; if there are none, looks at the
/// next few lines whose newest event is old enough; if there are none either, gives a few free
/// pages back. By age nothing goes unless IsBorneOut(). To be run in a job of the writer. Errors:
/// the store's.
Result<Step> TakeStep(store::Store& store, ledger::Ledger& ledger, const Task& task);

/// Runs on its own thread from construction to destruction: at the start and then every
/// limits::kCleanUpEvery by the wall clock, and when that was set back. In small steps, one at a
/// time, each a job of the store's. What failed (full disk) is logged and tried again the next
/// time.
class Retention {
 public:
  /// All references outlive it, and the writer's last job too, which may come after it.
  Retention(store::Writer& writer, ledger::Ledger& ledger, const base::Clock& clock,
            Lifetimes lifetimes);
  ~Retention();
  Retention(const Retention&) = delete;
  Retention& operator=(const Retention&) = delete;

  /// The last that went through since the start.
  std::optional<CleanUp> last() const;

  /// The wall clock may have moved: look at once. Safe from any thread.
  void Wake();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace dwell::retention
