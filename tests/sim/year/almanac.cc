#include "tests/sim/year/almanac.h"

#include <ctime>

namespace dwell::year {
namespace {

using std::chrono::days;
using std::chrono::minutes;

/// What the ward's clock shows: minutes since 1970 as if that were UTC.
minutes Shown(Instant at) {
  const std::time_t seconds = std::chrono::system_clock::to_time_t(at);
  std::tm local{};
  localtime_r(&seconds, &local);
  return std::chrono::floor<minutes>(std::chrono::seconds(timegm(&local)));
}

int DayOf(minutes shown) { return static_cast<int>(std::chrono::floor<days>(shown).count()); }

}  // namespace

const std::vector<Instant>& Almanac::RoundsOf(int day) {
  const auto [found, is_new] = by_day_.try_emplace(day);
  std::vector<Instant>& rounds = found->second;
  if (!is_new) return rounds;
  // No zone is a day away from UTC. Minute by minute: slow, and hard to get wrong.
  Instant at = Instant(days(day)) - days(1);
  for (const minutes round : rounds_) {
    const minutes wanted = days(day) + round;
    while (Shown(at) < wanted) at += minutes(1);
    if (Shown(at) != wanted) ++skipped_;
    rounds.push_back(at);
  }
  return rounds;
}

Instant Almanac::NextRound(Instant after) {
  for (int day = DayOf(Shown(after)) - 1;; ++day) {
    for (const Instant round : RoundsOf(day)) {
      if (round > after) return round;
    }
  }
}

}  // namespace dwell::year
