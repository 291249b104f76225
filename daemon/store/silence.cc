#include "daemon/store/silence.h"

#include <algorithm>
#include <functional>

namespace dwell::store {

using std::chrono::minutes;

std::optional<DayGap> Rhythm::Hear(std::optional<Instant> before, Instant at) {
  std::int64_t day = std::chrono::floor<std::chrono::days>(at).time_since_epoch().count();
  if (!days_.empty()) day = std::max(day, days_.back().day);  // the clock may have been set back
  const minutes gap =
      before ? std::max(std::chrono::ceil<minutes>(at - *before), minutes(0)) : minutes(0);
  if (days_.empty() || days_.back().day < day) {
    std::erase_if(days_, [day](const DayGap& row) { return row.day <= day - kRhythmDays; });
    days_.push_back({day, gap});
    return days_.back();
  }
  if (gap <= days_.back().gap) return std::nullopt;
  days_.back().gap = gap;
  return days_.back();
}

std::optional<minutes> Rhythm::usual_gap() const {
  if (days_.size() < kRhythmDaysMin) return std::nullopt;
  std::vector<minutes> gaps;
  for (const DayGap& row : days_) gaps.push_back(row.gap);
  std::ranges::nth_element(gaps, gaps.begin() + 1, std::greater<>());
  return gaps[1];
}

std::optional<minutes> MayBeQuietFor(const SourceRecord& source, std::optional<minutes> fixed) {
  if (fixed) return fixed;
  if (!source.usual_gap) return std::nullopt;
  return std::max(*source.usual_gap * kSilentGaps, kSilentAfterMin);
}

bool IsSilent(const SourceRecord& source, std::optional<minutes> fixed, Instant now) {
  const auto limit = MayBeQuietFor(source, fixed);
  return limit && now - source.last_event_at > *limit;
}

}  // namespace dwell::store
