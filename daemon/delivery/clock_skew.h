// How far our clock is from another machine's, read off its answers: (Date field, now) -> seconds.
// Pure.
#pragma once

#include <chrono>
#include <optional>
#include <string_view>

#include "mapping/event/moment.h"

namespace dwell::delivery {

class ClockSkew {
 public:
  /// Reads an answer's Date (RFC 9110 section 6.6.1); anything else changes nothing. Returns
  /// whether there is news worth a line in the log: the clocks differ by more than
  /// limits::kClockSkewMax now and agreed before, or the other way round, or the difference itself
  /// changed by more than that.
  bool Look(std::string_view date, Instant now);

  /// How far ours was ahead at the last look (negative: behind); 0 before the first. Whole seconds,
  /// as Date has no finer ones; the way of the answer counts as part of it.
  std::chrono::seconds ahead() const { return ahead_; }
  /// The same when it is beyond limits::kClockSkewMax.
  std::optional<std::chrono::seconds> trouble() const;

 private:
  std::chrono::seconds ahead_{0};
  std::chrono::seconds told_{0};  ///< what the log knows; 0: that they agree
};

}  // namespace dwell::delivery
