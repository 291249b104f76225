// When the ledger must catch up, without a thread.
#include "daemon/alarm/schedule.h"

#include <gtest/gtest.h>

#include "daemon/base/limits.h"

namespace dwell::alarm {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;

constexpr Schedule::Steady kThen{seconds(500)};

Instant At(int ms) { return Instant(std::chrono::milliseconds(ms)); }

TEST(Schedule, BeginsAtTheStartAndThenWhenSomethingFallsDue) {
  Schedule schedule;
  EXPECT_EQ(schedule.caught_up_to(), Instant::min());
  EXPECT_TRUE(schedule.Begin(At(10), kThen));
  schedule.Ended(At(50));
  EXPECT_EQ(schedule.caught_up_to(), At(10));
  EXPECT_FALSE(schedule.Begin(At(49), kThen));
  EXPECT_EQ(schedule.caught_up_to(), At(49)) << "nothing falls due before 50";
  EXPECT_TRUE(schedule.Begin(At(50), kThen));
}

TEST(Schedule, BeginsOneAtATimeAndForgetsNoNews) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(10), kThen));
  schedule.News();
  EXPECT_FALSE(schedule.Begin(At(20), kThen));
  schedule.Ended({});
  EXPECT_TRUE(schedule.Begin(At(30), kThen)) << "the news came while the one before was on its way";
}

TEST(Schedule, AClockSetForwardMakesItLookAndOneSetBackALittleDoesNotStopIt) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(1000), kThen));
  schedule.Ended(At(2000));
  EXPECT_FALSE(schedule.Begin(At(100), kThen));
  EXPECT_TRUE(schedule.Begin(At(90'000), kThen));
}

TEST(Schedule, AClockSetBackMakesItLookForWhatWasToldTooEarly) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(10'000'000), kThen));
  schedule.Ended({});
  EXPECT_TRUE(schedule.Begin(At(1000), kThen));
  schedule.Ended(At(2000));
  EXPECT_EQ(schedule.caught_up_to(), At(1000));
  EXPECT_FALSE(schedule.Begin(At(1001), kThen)) << "once is enough";
}

TEST(Schedule, WhatFailedIsDoneAgainLessAndLessOftenAndToldOnce) {
  Schedule schedule;
  Schedule::Steady steady = kThen;
  ASSERT_TRUE(schedule.Begin(At(10), steady));
  EXPECT_TRUE(schedule.Failed(steady));
  for (const int s : {1, 2, 4, 8, 16, 30, 30}) {
    steady += seconds(s) - milliseconds(1);
    EXPECT_FALSE(schedule.Begin(At(20), steady)) << s;
    steady += milliseconds(1);
    ASSERT_TRUE(schedule.Begin(At(20), steady)) << s;
    EXPECT_FALSE(schedule.Failed(steady));
  }
  steady += limits::kAlarmAgainMax;
  ASSERT_TRUE(schedule.Begin(At(30), steady));
  schedule.Ended({});
  schedule.News();
  ASSERT_TRUE(schedule.Begin(At(40), steady));
  EXPECT_TRUE(schedule.Failed(steady)) << "another trouble";
  EXPECT_EQ(schedule.again_at(), steady + limits::kAlarmAgainMin);
}

TEST(Schedule, AnEventThatCouldBeStoredEndsTheWaitAfterAFailure) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(10), kThen));
  schedule.Failed(kThen);
  EXPECT_FALSE(schedule.Begin(At(20), kThen));
  schedule.News();
  EXPECT_TRUE(schedule.Begin(At(20), kThen));
}

}  // namespace
}  // namespace dwell::alarm
