// Decides when the ledger must catch up with the wall clock. Pure: told of the time and of what
// came of it.
#pragma once

#include <optional>

#include "mapping/event/moment.h"

namespace dwell::alarm {

class Schedule {
 public:
  /// The ledger has news: look at the next chance.
  void News() { look_ = true; }
  /// Whether a catching up must begin now, as of `now`; it then counts as begun. One at a time.
  bool Begin(Instant now);
  /// The one begun went through; the next thing falls due at `next` (empty: nothing does).
  void Ended(std::optional<Instant> next);
  /// The one begun failed: to be done again. Returns whether this is the first failure in a row.
  bool Failed();

  /// Whether to begin whatever the clock says.
  bool must_look() const { return look_; }
  /// When something falls due, as far as is known.
  std::optional<Instant> next() const { return next_; }
  /// Everything that fell due up to this instant is in the store; Instant::min(): not known yet.
  Instant caught_up_to() const { return caught_up_to_; }

 private:
  bool look_ = true;  // at the start, and when there is news
  bool in_flight_ = false;
  bool failing_ = false;
  std::optional<Instant> next_;
  Instant begun_at_{};
  Instant caught_up_to_ = Instant::min();
};

}  // namespace dwell::alarm
