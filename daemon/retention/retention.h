// The regular clean-up of the store: what was delivered or cancelled long enough ago loses its
// body, and the file shrinks again. Nothing that is still to be delivered is ever touched; events
// stay.
#pragma once

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>

#include "daemon/base/clock.h"
#include "daemon/store/writer.h"

namespace dwell::retention {

/// The clock is looked at this often, on the steady clock: long for a CPU, short against an hour.
inline constexpr std::chrono::milliseconds kLookEvery{1000};

/// A clean-up that went through.
struct CleanUp {
  Instant at{};               ///< when it began: it removed what was old enough at that instant
  std::uint64_t bundles = 0;  ///< whose bodies it removed
  std::uint64_t pages = 0;    ///< of 8 KiB that it gave back to the file system
};

/// The step that a clean-up repeats until there is nothing left to do.
struct Step {
  std::size_t bundles = 0;
  std::size_t pages = 0;
  bool has_room = true;  ///< on the store's file system
};

/// Removes the next few bodies of what was settled at `until` or before (never when it is empty);
/// if there are none, gives a few free pages back. To be run inside a transaction. Errors: the
/// store's.
Result<Step> TakeStep(store::Store& store, std::optional<Instant> until);

/// Runs on its own thread from construction to destruction: at the start and then every
/// limits::kCleanUpEvery by the wall clock, and when that was set back. In small steps, one at a
/// time, each a job of the store's. What failed (full disk) is logged and tried again the next
/// time.
class Retention {
 public:
  /// `keep_delivered`: from settling to removal, in days of 24 hours; 0: for ever. Both references
  /// outlive it; the writer's last job may come after it.
  Retention(store::Writer& writer, const base::Clock& clock, std::chrono::days keep_delivered);
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
