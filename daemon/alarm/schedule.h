// Decides when the ledger must catch up with the wall clock. Pure: told of the time and of what
// came of it.
#pragma once

#include <chrono>
#include <optional>

#include "mapping/event/moment.h"

namespace dwell::alarm {

class Schedule {
 public:
  using Steady = std::chrono::steady_clock::time_point;

  /// The ledger has news: look at the next chance. Something could be stored.
  void News();
  /// Whether a catching up must begin now, as of `now`; it then counts as begun. One at a time.
  /// Also when the clock was set back: what was told too early is to be put right.
  bool Begin(Instant now, Steady steady);
  /// The one begun went through; the next thing falls due at `next` (empty: nothing does).
  void Ended(std::optional<Instant> next);
  /// The one begun failed: to be done again, from limits::kAlarmAgainMin to kAlarmAgainMax later.
  /// Returns whether this is the first failure in a row.
  bool Failed(Steady steady);

  /// Whether to begin whatever the clock says.
  bool must_look() const { return look_; }
  /// Not before this does another begin, after a failure.
  std::optional<Steady> again_at() const { return again_at_; }
  /// When something falls due, as far as is known.
  std::optional<Instant> next() const { return next_; }
  /// Everything that fell due up to this instant is in the store; Instant::min(): not known yet.
  Instant caught_up_to() const { return caught_up_to_; }

 private:
  bool look_ = true;  // at the start, and when there is news
  bool in_flight_ = false;
  std::chrono::seconds pause_{0};  // after the last failure; 0: it did not fail
  std::optional<Steady> again_at_;
  std::optional<Instant> next_;
  Instant begun_at_{};
  Instant caught_up_to_ = Instant::min();
};

}  // namespace dwell::alarm
