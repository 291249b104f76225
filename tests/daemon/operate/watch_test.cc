#include "daemon/operate/watch.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::test {
namespace {

using operate::SteadyTime;
using std::chrono::milliseconds;
using std::chrono::seconds;
using testing::ElementsAre;
using testing::IsEmpty;

/// Two workers, stuck after ten seconds, and a steady clock that is moved by hand.
class WatchTest : public testing::Test {
 protected:
  /// A beat of the watch: who is asked. `who` answers at once.
  std::vector<std::size_t> Beat(std::initializer_list<std::size_t> who) {
    now_ += seconds(1);
    auto asked = watch_.Ask(now_);
    for (const std::size_t worker : who) watch_.Moved(worker, now_);
    return asked;
  }

  SteadyTime now_{seconds(1000)};
  operate::Watch watch_{2, now_, seconds(10)};
};

TEST_F(WatchTest, WhoOwesAnAnswerIsNotAskedAgain) {
  EXPECT_THAT(Beat({0}), ElementsAre(0, 1));
  EXPECT_THAT(Beat({0}), ElementsAre(0));
  watch_.Moved(1, now_);
  EXPECT_THAT(Beat({}), ElementsAre(0, 1));
}

TEST_F(WatchTest, AQuestionWithoutAnAnswerMakesItsThreadStuckOnceAndAnAnswerFreesIt) {
  for (int second = 1; second <= 10; ++second) {
    Beat({0});
    EXPECT_THAT(watch_.Look(now_), IsEmpty()) << second;
  }
  Beat({0});
  const auto stuck = watch_.Look(now_);
  ASSERT_EQ(stuck.size(), 1U);
  EXPECT_EQ(stuck[0].worker, 1U);
  EXPECT_TRUE(stuck[0].is_stuck);
  EXPECT_EQ(stuck[0].silent, seconds(11));  // since the start: it never answered
  EXPECT_TRUE(watch_.any_stuck());
  Beat({0});
  EXPECT_THAT(watch_.Look(now_), IsEmpty()) << "it is said once";
  watch_.Moved(1, now_);
  const auto moves = watch_.Look(now_);
  ASSERT_EQ(moves.size(), 1U);
  EXPECT_FALSE(moves[0].is_stuck);
  EXPECT_EQ(moves[0].silent, seconds(12));
  EXPECT_FALSE(watch_.any_stuck());
}

// SIGSTOP, or a machine that slept: the watcher stood still with the others.
TEST_F(WatchTest, AWatcherThatStoodStillCallsNobodyStuck) {
  Beat({0});  // 1 owes an answer
  EXPECT_THAT(watch_.Look(now_), IsEmpty());
  now_ += std::chrono::minutes(10);
  EXPECT_THAT(watch_.Look(now_), IsEmpty());
  for (int second = 1; second < 10; ++second) {
    Beat({0});
    EXPECT_THAT(watch_.Look(now_), IsEmpty());
  }
  Beat({0});
  EXPECT_EQ(watch_.Look(now_).size(), 1U);
}

TEST_F(WatchTest, TheServiceManagerHearsEveryHalfOfItsTimeAndOnlyWhenAllMoved) {
  operate::Pulse pulse(seconds(30), now_);
  int pings = 0;
  for (int second = 1; second <= 60; ++second) {
    Beat({0, 1});
    pings += pulse.Beat(watch_, now_);
    EXPECT_EQ(pings, second / 15) << second;
  }
  for (int second = 1; second <= 60; ++second) {  // 1 is silent
    Beat({0});
    pings += pulse.Beat(watch_, now_);
  }
  EXPECT_EQ(pings, 4);
  watch_.Moved(1, now_);
  EXPECT_TRUE(pulse.Beat(watch_, now_)) << "at once when it moves again";
}

// sd_watchdog_enabled(3): WATCHDOG_PID, when set, says for whom it is.
TEST(WatchdogTime, IsWhatTheServiceManagerGrantsThisProcess) {
  using operate::WatchdogTime;
  EXPECT_EQ(WatchdogTime("30000000", "42", 42), seconds(30));
  EXPECT_EQ(WatchdogTime("30000000", nullptr, 42), seconds(30));
  EXPECT_EQ(WatchdogTime("30000000", "41", 42), std::nullopt);
  EXPECT_EQ(WatchdogTime(nullptr, nullptr, 42), std::nullopt);
  EXPECT_EQ(WatchdogTime("0", nullptr, 42), std::nullopt);
  EXPECT_EQ(WatchdogTime("-1", nullptr, 42), std::nullopt);
  EXPECT_EQ(WatchdogTime("3 s", nullptr, 42), std::nullopt);
  EXPECT_EQ(WatchdogTime("", nullptr, 42), std::nullopt);
}

}  // namespace
}  // namespace dwell::test
