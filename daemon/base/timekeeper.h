// What time it is, when somebody sets the wall clock of the machine: (looks at the machine's
// clocks)
// -> the time that the daemon goes by. Pure.
//
// A wall clock that is set by hours must neither tell the wards that everything is overdue nor keep
// silent about what is. So the time runs by the steady clock from the first look on. A step of the
// wall clock is believed when the machine's time service vouches for it; until then it is told, not
// followed. The next start begins with the wall clock as it is then.
#pragma once

#include <chrono>
#include <optional>

#include "mapping/event/moment.h"

namespace dwell::base {

/// One look at all clocks at the same moment.
struct ClockReading {
  Instant wall{};
  /// Since some moment of the past, set by nobody, and running while the machine sleeps.
  std::chrono::milliseconds steady{0};
};

/// The wall clock was set.
struct ClockStep {
  std::chrono::milliseconds ahead{0};  ///< of the wall clock, before our time; negative: behind
  bool is_followed = false;            ///< our time is now the wall clock's
  bool is_over = false;                ///< it was set back to our time; `ahead` is what it was
};

class Timekeeper {
 public:
  /// Differences up to this are followed at once: leap seconds, the corrections of a time service
  /// that steps small errors, and the time between the two looks of one reading.
  static constexpr std::chrono::milliseconds kFollowedMax{2'000};

  /// Our time. `is_vouched` is asked only when the wall clock was set: whether the machine's time
  /// service says that the wall clock is right.
  template <class IsVouched>
  Instant Tell(const ClockReading& reading, const IsVouched& is_vouched) {
    const std::chrono::milliseconds ahead = Ahead(reading);
    const bool is_step = ahead > kFollowedMax || ahead < -kFollowedMax;
    return is_step ? Stepped(reading, ahead, is_vouched()) : Followed(reading);
  }

  /// What is new about steps since the last call.
  std::optional<ClockStep> TakeNews();

  /// How far the wall clock is ahead of our time, where that is more than kFollowedMax; 0: it is
  /// not.
  std::chrono::milliseconds ahead() const { return ahead_; }

 private:
  std::chrono::milliseconds Ahead(const ClockReading& reading);
  Instant Followed(const ClockReading& reading);
  Instant Stepped(const ClockReading& reading, std::chrono::milliseconds ahead, bool is_vouched);

  std::optional<ClockReading> base_;  ///< our time is base_->wall at base_->steady
  std::chrono::milliseconds ahead_{0};
  std::optional<ClockStep> news_;
};

}  // namespace dwell::base
