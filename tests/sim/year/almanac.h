// When a ward's clock shows the rounds of a day, by the C library's reading of the tz data: what
// our own zone rules are held against. The program's TZ is the ward's zone.
#pragma once

#include <chrono>
#include <map>
#include <vector>

#include "mapping/event/moment.h"

namespace dwell::year {

class Almanac {
 public:
  /// Rounds in minutes after midnight, sorted.
  explicit Almanac(std::vector<std::chrono::minutes> rounds) : rounds_(std::move(rounds)) {}

  /// The first instant after `after` at which the clock shows a round; where it skips one, the
  /// first instant behind the gap; where it shows one twice, the first time.
  Instant NextRound(Instant after);
  /// How many instants of the year so far were none that the clock shows: rounds in a gap.
  std::size_t skipped() const { return skipped_; }

 private:
  const std::vector<Instant>& RoundsOf(int day);

  std::vector<std::chrono::minutes> rounds_;
  std::map<int, std::vector<Instant>> by_day_;  ///< days since 1970 of the ward's calendar
  std::size_t skipped_ = 0;
};

}  // namespace dwell::year
