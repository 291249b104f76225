// How often a ward system usually speaks, learned from the gaps between its events, and whether it
// has been silent for too long. Pure.
//
// The rule is ours: common practice, no source. A gap is the time between the arrivals of two
// events of a source that were stored. Of each day (UTC) on which it was heard the longest gap that
// ended there is kept, for seven days. Usual is the second longest of these: what happened once, an
// outage of theirs or of ours, teaches nothing; a night that is quiet every time does. It is known
// once there are three such days. Silent is who was not heard for longer than twice the usual gap,
// and longer than an hour.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "mapping/event/moment.h"

namespace dwell::store {

/// Days that are remembered: every day of a week once.
inline constexpr std::int64_t kRhythmDays = 7;
/// Fewer teach nothing: of two days the second longest gap may be that of an afternoon.
inline constexpr std::size_t kRhythmDaysMin = 3;
/// So many usual gaps are silence.
inline constexpr int kSilentGaps = 2;
/// Nobody is silent sooner, however often it speaks.
inline constexpr std::chrono::minutes kSilentAfterMin{60};

/// The longest gap that ended on a day.
struct DayGap {
  std::int64_t day = 0;         ///< since 1970-01-01, UTC
  std::chrono::minutes gap{0};  ///< rounded up
  bool operator==(const DayGap&) const = default;
};

/// What is remembered of one source.
class Rhythm {
 public:
  Rhythm() = default;
  /// From the rows that were kept, in the order of days.
  explicit Rhythm(std::vector<DayGap> days) : days_(std::move(days)) {}

  /// An event came at `at`; the one before it at `before` (empty: there was none). Returns the
  /// day's row if it is new or its gap grew.
  std::optional<DayGap> Hear(std::optional<Instant> before, Instant at);
  /// Empty: not known yet.
  std::optional<std::chrono::minutes> usual_gap() const;

 private:
  std::vector<DayGap> days_;  ///< oldest first, at most kRhythmDays
};

/// A ward system that events came from.
struct SourceRecord {
  std::string name;  ///< as it names itself; empty: several for which there was no room
  Instant last_event_at{};
  std::optional<std::chrono::minutes> usual_gap;  ///< empty: not known yet
};

/// How long the source may be quiet: `fixed` if an installation sets it, else by its usual gap;
/// empty: nobody can say yet.
std::optional<std::chrono::minutes> MayBeQuietFor(const SourceRecord& source,
                                                  std::optional<std::chrono::minutes> fixed);
/// Whether it has been quiet for longer; not, while nobody can say.
bool IsSilent(const SourceRecord& source, std::optional<std::chrono::minutes> fixed, Instant now);

}  // namespace dwell::store
