// What time it is when somebody sets the wall clock.
#include "daemon/base/timekeeper.h"

#include <gtest/gtest.h>

#include "daemon/base/clock.h"

namespace dwell::base {
namespace {

using std::chrono::hours;
using std::chrono::milliseconds;
using std::chrono::seconds;

const Instant kStart = ReadMoment("2026-03-02T09:00:00Z")->instant;

/// A machine whose clocks are looked at; time passes on both, steps happen to one.
class TimekeeperTest : public testing::Test {
 protected:
  void Pass(milliseconds time) {
    reading_.steady += time;
    reading_.wall += time;
  }
  void Step(milliseconds by) { reading_.wall += by; }
  Instant Tell() {
    return keeper_.Tell(reading_, [this] { return is_vouched_; });
  }
  /// How far what is told lies behind the wall clock.
  milliseconds Behind() { return reading_.wall - Tell(); }

  ClockReading reading_{kStart, hours(70)};
  Timekeeper keeper_;
  bool is_vouched_ = false;
};

TEST_F(TimekeeperTest, GoesWithTheWallClockWhileNobodySetsIt) {
  EXPECT_EQ(Tell(), kStart);
  Pass(hours(24 * 365));
  EXPECT_EQ(Tell(), kStart + hours(24 * 365));
  EXPECT_FALSE(keeper_.TakeNews());
}

TEST_F(TimekeeperTest, FollowsSmallStepsEachTime) {
  Tell();
  for (const int step_ms : {1'999, -1'500, 2'000, 250, -2'000}) {
    Step(milliseconds(step_ms));
    EXPECT_EQ(Behind(), milliseconds(0)) << step_ms;
  }
  EXPECT_FALSE(keeper_.TakeNews());
}

TEST_F(TimekeeperTest, DoesNotFollowAStepThatNobodyVouchesFor) {
  for (const milliseconds step : {milliseconds(hours(3)), milliseconds(-hours(3)),
                                  milliseconds(2'001), milliseconds(hours(24 * 3650))}) {
    SCOPED_TRACE(step.count());
    keeper_ = {};
    Tell();
    Step(step);
    EXPECT_EQ(Behind(), step);
    EXPECT_EQ(keeper_.ahead(), step);
    const auto news = keeper_.TakeNews();
    ASSERT_TRUE(news);
    EXPECT_EQ(news->ahead, step);
    EXPECT_FALSE(news->is_followed || news->is_over);
    Pass(hours(10));
    EXPECT_EQ(Behind(), step) << "time goes on as it did";
    EXPECT_FALSE(keeper_.TakeNews()) << "told once";
  }
}

TEST_F(TimekeeperTest, IsRightAgainOnceTheClockIsSetBack) {
  Tell();
  Step(hours(5));
  Tell();
  Step(-hours(5) + milliseconds(700));
  EXPECT_EQ(Behind(), milliseconds(0));
  const auto news = keeper_.TakeNews();
  ASSERT_TRUE(news);
  EXPECT_TRUE(news->is_over);
  EXPECT_EQ(news->ahead, hours(5));
  EXPECT_EQ(keeper_.ahead(), milliseconds(0));
}

TEST_F(TimekeeperTest, FollowsAStepAsSoonAsTheTimeServiceVouchesForIt) {
  Tell();
  Step(-hours(2));
  EXPECT_EQ(Behind(), -hours(2));
  keeper_.TakeNews();
  Pass(seconds(64));
  is_vouched_ = true;
  EXPECT_EQ(Behind(), milliseconds(0));
  const auto news = keeper_.TakeNews();
  ASSERT_TRUE(news);
  EXPECT_TRUE(news->is_followed);
  EXPECT_EQ(news->ahead, -hours(2));
}

TEST_F(TimekeeperTest, TellsOfEachFurtherStep) {
  Tell();
  Step(hours(1));
  Tell();
  keeper_.TakeNews();
  Step(hours(1));
  Tell();
  const auto news = keeper_.TakeNews();
  ASSERT_TRUE(news);
  EXPECT_EQ(news->ahead, hours(2));
}

TEST_F(TimekeeperTest, IsNotAskedWhetherSomebodyVouchesWhileNobodySetsTheClock) {
  bool is_asked = false;
  const auto ask = [&is_asked] { return is_asked = true; };
  keeper_.Tell(reading_, ask);
  Pass(hours(1));
  keeper_.Tell(reading_, ask);
  EXPECT_FALSE(is_asked);
  Step(hours(1));
  keeper_.Tell(reading_, ask);
  EXPECT_TRUE(is_asked);
}

TEST(KeptClock, TellsTheWallClocksTimeFromTheStart) {
  const KeptClock kept;
  const SystemClock wall;
  const Instant before = wall.Now();
  const Instant told = kept.Now();
  EXPECT_LE(before, told);
  EXPECT_LE(told, wall.Now());
  EXPECT_EQ(kept.wall_ahead(), milliseconds(0));
}

}  // namespace
}  // namespace dwell::base
