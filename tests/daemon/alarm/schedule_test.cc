// When the ledger must catch up, without a thread.
#include "daemon/alarm/schedule.h"

#include <gtest/gtest.h>

namespace dwell::alarm {
namespace {

Instant At(int ms) { return Instant(std::chrono::milliseconds(ms)); }

TEST(Schedule, BeginsAtTheStartAndThenWhenSomethingFallsDue) {
  Schedule schedule;
  EXPECT_EQ(schedule.caught_up_to(), Instant::min());
  EXPECT_TRUE(schedule.Begin(At(10)));
  schedule.Ended(At(50));
  EXPECT_EQ(schedule.caught_up_to(), At(10));
  EXPECT_FALSE(schedule.Begin(At(49)));
  EXPECT_EQ(schedule.caught_up_to(), At(49)) << "nothing falls due before 50";
  EXPECT_TRUE(schedule.Begin(At(50)));
}

TEST(Schedule, BeginsOneAtATimeAndForgetsNoNews) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(10)));
  schedule.News();
  EXPECT_FALSE(schedule.Begin(At(20)));
  schedule.Ended({});
  EXPECT_TRUE(schedule.Begin(At(30))) << "the news came while the one before was on its way";
}

TEST(Schedule, AClockSetForwardMakesItLookAndOneSetBackDoesNotStopIt) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(1000)));
  schedule.Ended(At(2000));
  EXPECT_FALSE(schedule.Begin(At(100)));
  EXPECT_TRUE(schedule.Begin(At(90'000)));
}

TEST(Schedule, WhatFailedIsDoneAgainAndToldOnce) {
  Schedule schedule;
  ASSERT_TRUE(schedule.Begin(At(10)));
  EXPECT_TRUE(schedule.Failed());
  ASSERT_TRUE(schedule.Begin(At(20)));
  EXPECT_FALSE(schedule.Failed());
  ASSERT_TRUE(schedule.Begin(At(30)));
  schedule.Ended({});
  schedule.News();
  ASSERT_TRUE(schedule.Begin(At(40)));
  EXPECT_TRUE(schedule.Failed()) << "another trouble";
}

}  // namespace
}  // namespace dwell::alarm
