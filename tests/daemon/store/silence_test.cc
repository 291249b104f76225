// How often a source usually speaks, and when it has been silent for too long: by instants.
#include "daemon/store/silence.h"

#include <gtest/gtest.h>

#include <initializer_list>

namespace dwell::store {
namespace {

using std::chrono::minutes;

Instant At(const std::string& text) { return ReadMoment(text)->instant; }

/// A rhythm that heard these, in this order.
Rhythm Heard(std::initializer_list<const char*> moments) {
  Rhythm rhythm;
  std::optional<Instant> before;
  for (const char* text : moments) {
    rhythm.Hear(before, At(text));
    before = At(text);
  }
  return rhythm;
}

TEST(Rhythm, WhatIsUsualIsTheSecondLongestOfTheDaysLongestGaps) {
  struct Row {
    const char* what;
    std::initializer_list<const char*> heard;
    std::optional<minutes> usual;
  };
  const Row rows[] = {
      {"never heard", {}, std::nullopt},
      {"heard once", {"2026-03-02T09:00:00Z"}, std::nullopt},
      {"on one day, often",
       {"2026-03-02T09:00:00Z", "2026-03-02T09:10:00Z", "2026-03-02T09:20:00Z"},
       std::nullopt},
      {"on two days", {"2026-03-02T09:00:00Z", "2026-03-03T09:00:00Z"}, std::nullopt},
      {"on three days",
       {"2026-03-02T09:00:00Z", "2026-03-03T09:00:00Z", "2026-03-04T10:00:00Z"},
       minutes(24 * 60)},
      {"the longest of each day, counted where it ends",
       {"2026-03-02T23:00:00Z", "2026-03-03T06:00:00Z", "2026-03-03T23:30:00Z",
        "2026-03-04T06:00:00Z", "2026-03-04T15:00:00Z"},
       minutes(9 * 60)},
      {"the longest of all, as of an outage, teaches nothing",
       {"2026-03-02T09:00:00Z", "2026-03-02T10:00:00Z", "2026-03-03T09:00:00Z",
        "2026-03-04T09:30:00Z", "2026-03-04T10:00:00Z", "2026-03-05T08:00:00Z"},
       minutes(23 * 60)},
      {"more than a week ago is forgotten",
       {"2026-03-02T09:00:00Z", "2026-03-03T09:00:00Z", "2026-03-04T09:00:00Z",
        "2026-03-20T09:00:00Z", "2026-03-20T09:05:00Z"},
       std::nullopt},
      {"part of a minute counts as one",
       {"2026-03-02T23:59:58Z", "2026-03-03T00:00:00Z", "2026-03-03T23:59:59Z",
        "2026-03-04T00:00:01Z"},
       minutes(1)},
      {"a clock set back makes no gap and no day",
       {"2026-03-02T09:00:00Z", "2026-03-03T09:00:00Z", "2026-03-02T08:00:00Z",
        "2026-03-02T08:30:00Z"},
       std::nullopt},
  };
  for (const Row& row : rows) EXPECT_EQ(Heard(row.heard).usual_gap(), row.usual) << row.what;
}

TEST(Rhythm, ARowIsToBeKeptWhenTheDayIsNewOrItsGapGrew) {
  Rhythm rhythm;
  const std::int64_t day = At("2026-03-02T00:00:00Z").time_since_epoch() / std::chrono::days(1);
  const Instant first = At("2026-03-02T09:00:00Z");
  EXPECT_EQ(rhythm.Hear(std::nullopt, first), (DayGap{day, minutes(0)}));
  EXPECT_EQ(rhythm.Hear(first, first + minutes(10)), (DayGap{day, minutes(10)}));
  EXPECT_EQ(rhythm.Hear(first, first + minutes(10)), std::nullopt);
  EXPECT_EQ(rhythm.Hear(first, first + minutes(5)), std::nullopt);
  EXPECT_EQ(rhythm.Hear(first, first + std::chrono::hours(24)), (DayGap{day + 1, minutes(1440)}));
}

TEST(Rhythm, NoMoreThanAWeekIsRemembered) {
  Rhythm rhythm;
  Instant at = At("2026-03-02T09:00:00Z");
  for (int day = 0; day < 30; ++day) {  // gaps that grow, then shrink: the old ones are gone
    const minutes gap(day < 15 ? 600 + day : 30);
    rhythm.Hear(at - gap, at);
    at += std::chrono::days(1);
  }
  EXPECT_EQ(rhythm.usual_gap(), minutes(30));
}

TEST(Silence, IsTwiceTheUsualGapAndNeverLessThanAnHourOrWhatTheInstallationSays) {
  struct Row {
    std::optional<minutes> usual, fixed;
    std::optional<minutes> limit;
  };
  const Row rows[] = {
      {std::nullopt, std::nullopt, std::nullopt}, {minutes(1), std::nullopt, minutes(60)},
      {minutes(30), std::nullopt, minutes(60)},   {minutes(31), std::nullopt, minutes(62)},
      {minutes(480), std::nullopt, minutes(960)}, {minutes(480), minutes(15), minutes(15)},
      {std::nullopt, minutes(15), minutes(15)},
  };
  const Instant last = At("2026-03-02T09:00:00Z");
  for (const Row& row : rows) {
    const SourceRecord source{"ward-tablets", last, row.usual};
    EXPECT_EQ(MayBeQuietFor(source, row.fixed), row.limit);
    const minutes limit = row.limit.value_or(minutes(0));
    EXPECT_FALSE(IsSilent(source, row.fixed, last - minutes(1)));
    EXPECT_FALSE(IsSilent(source, row.fixed, last + limit));
    EXPECT_EQ(IsSilent(source, row.fixed, last + limit + std::chrono::milliseconds(1)),
              row.limit.has_value());
  }
}

}  // namespace
}  // namespace dwell::store
