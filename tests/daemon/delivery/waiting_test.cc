// Backoff, health and settlement: how long who waits.
#include <gmock/gmock.h>

#include "daemon/delivery/backoff.h"
#include "daemon/delivery/health.h"
#include "daemon/delivery/settle.h"

namespace dwell::delivery {
namespace {

using std::chrono::milliseconds;
using std::chrono::seconds;
using store::DeliveryState;

constexpr Backoff kBackoff{.first = seconds(1), .most = seconds(900)};

TEST(Backoff, DoublesUpToTheLimitAndTakesAtLeastHalf) {
  const std::vector<std::pair<std::uint32_t, int>> whole = {
      {0, 1}, {1, 1}, {2, 2}, {3, 4}, {9, 256}, {10, 512}, {11, 900}, {1000, 900}};
  for (const auto& [attempts, whole_s] : whole) {
    const milliseconds full = seconds(whole_s);
    EXPECT_EQ(WaitAfter(kBackoff, attempts, 0), full / 2) << attempts;
    const auto span = static_cast<std::uint64_t>((full - full / 2).count());
    EXPECT_EQ(WaitAfter(kBackoff, attempts, span), full) << attempts;
    EXPECT_EQ(WaitAfter(kBackoff, attempts, span + 1), full / 2) << attempts;
  }
}

TEST(Backoff, WhatIsWaitedForByAgeIsLookedForLessAndLessOften) {
  const std::vector<std::pair<int, int>> whole = {{0, 1},     {4, 1},      {40, 10},
                                                  {400, 100}, {3600, 900}, {1'000'000, 900}};
  for (const auto& [age_s, whole_s] : whole) {
    const milliseconds full = seconds(whole_s);
    const auto span = static_cast<std::uint64_t>((full - full / 2).count());
    EXPECT_EQ(WaitAtAge(kBackoff, seconds(age_s), 0), full / 2) << age_s;
    EXPECT_EQ(WaitAtAge(kBackoff, seconds(age_s), span), full) << age_s;
  }
}

TEST(Backoff, ChanceSpreadsThoseWhoFailedTogether) {
  std::set<milliseconds> waits;
  for (std::uint64_t random = 0; random < 100; ++random) {
    waits.insert(WaitAfter(kBackoff, 5, random * 7919));
  }
  EXPECT_GT(waits.size(), 90U);
}

class HealthTest : public testing::Test {
 protected:
  Health::Time At(int s) const { return Health::Time(seconds(1000 + s)); }
  Health health_{16, kBackoff};
};

TEST_F(HealthTest, ADeadEndpointPausesEveryoneAndIsProbedByOne) {
  EXPECT_EQ(health_.Allowed(At(0)), 16U);
  health_.Down(At(0), std::nullopt, 500);
  EXPECT_EQ(health_.Allowed(At(0)), 0U);
  EXPECT_EQ(health_.Allowed(At(1)), 1U);
  EXPECT_FALSE(health_.is_well());
}

TEST_F(HealthTest, PausesGrowWhileItStaysDown) {
  int at = 0;
  for (const int expected_s : {1, 2, 4, 8, 16}) {
    health_.Down(At(at), std::nullopt, static_cast<std::uint64_t>(expected_s) * 500);
    EXPECT_EQ(health_.paused_until(), At(at + expected_s));
    at += expected_s;
  }
  health_.Succeeded();
  health_.Down(At(at), std::nullopt, 500);
  EXPECT_EQ(health_.paused_until(), At(at + 1)) << "a success forgets earlier pauses";
}

TEST_F(HealthTest, ThoseWhoFailTogetherAreOnePause) {
  for (int i = 0; i < 16; ++i) health_.Down(At(0), std::nullopt, 500);
  EXPECT_EQ(health_.paused_until(), At(1));
}

TEST_F(HealthTest, ComesBackWithoutAStampede) {
  health_.Down(At(0), std::nullopt, 0);
  std::vector<std::size_t> allowed;
  for (int i = 0; i < 6; ++i) {
    allowed.push_back(health_.Allowed(At(5)));
    health_.Succeeded();
  }
  EXPECT_THAT(allowed, testing::ElementsAre(1, 2, 4, 8, 16, 16));
}

TEST_F(HealthTest, ARetryAfterIsObeyedExactly) {
  health_.Down(At(0), seconds(77), 12345);
  EXPECT_EQ(health_.paused_until(), At(77));
}

TEST_F(HealthTest, SingleStrainsDoNotPauseButARowOfThemDoes) {
  health_.Strained(At(0), 0);
  health_.Strained(At(0), 0);
  health_.Succeeded();
  health_.Strained(At(0), 0);
  health_.Strained(At(0), 0);
  EXPECT_EQ(health_.Allowed(At(0)), 16U);
  health_.Strained(At(0), 0);
  EXPECT_EQ(health_.Allowed(At(0)), 0U);
  EXPECT_EQ(health_.Allowed(At(2)), 1U);
  health_.Strained(At(2), 0);
  EXPECT_EQ(health_.Allowed(At(2)), 0U) << "a failed probe alone is enough";
}

class SettleTest : public testing::Test {
 protected:
  SettleTest() {
    bundle_.seq = 7;
    bundle_.uncertain = true;
    bundle_.not_before = kNow - seconds(5);
    bundle_.why = "earlier";
  }
  static constexpr Instant kNow{std::chrono::hours(500'000)};
  store::BundleRecord bundle_;
};

TEST_F(SettleTest, DoneIsCompletedAndNoLongerUncertain) {
  const auto settlement = Settle(bundle_, Verdict(), kNow, seconds(1), seconds(0));
  EXPECT_EQ(settlement.state, DeliveryState::kCompleted);
  EXPECT_FALSE(settlement.uncertain);
  EXPECT_EQ(settlement.bundle_seq, 7);
}

TEST_F(SettleTest, AgainWaitsItsOwnTimeAfterThePause) {
  Verdict verdict;
  verdict.course = Course::kAgain;
  const auto settlement = Settle(bundle_, verdict, kNow, seconds(3), seconds(10));
  EXPECT_EQ(settlement.state, DeliveryState::kReady);
  EXPECT_EQ(settlement.not_before, kNow + seconds(13));
  EXPECT_TRUE(settlement.counts);
  EXPECT_TRUE(settlement.uncertain) << "an earlier uncertainty stays";
}

TEST_F(SettleTest, WaitingForSomebodyUnknownUsesUpNoAttempts) {
  Verdict verdict;
  verdict.course = Course::kWait;
  verdict.why = "unknown";
  const auto settlement = Settle(bundle_, verdict, kNow, seconds(3), seconds(0));
  EXPECT_EQ(settlement.state, DeliveryState::kReady);
  EXPECT_EQ(settlement.not_before, kNow + seconds(3));
  EXPECT_FALSE(settlement.counts);
  EXPECT_TRUE(settlement.uncertain) << "an earlier uncertainty stays";
  EXPECT_EQ(settlement.why, "unknown");
}

TEST_F(SettleTest, APauseUsesUpNobodysAttempts) {
  Verdict verdict;
  verdict.course = Course::kPause;
  verdict.untouched = true;
  auto settlement = Settle(bundle_, verdict, kNow, seconds(3), seconds(10));
  EXPECT_FALSE(settlement.counts);
  EXPECT_EQ(settlement.not_before, bundle_.not_before);
  verdict.untouched = false;
  settlement = Settle(bundle_, verdict, kNow, seconds(3), seconds(10));
  EXPECT_FALSE(settlement.counts);
  EXPECT_EQ(settlement.not_before, kNow + seconds(13)) << "another lane must probe";
}

TEST_F(SettleTest, WhatWasNotSentGoesBackAsItWas) {
  const auto settlement = GiveBack(bundle_, kNow);
  EXPECT_EQ(settlement.state, DeliveryState::kReady);
  EXPECT_FALSE(settlement.counts);
  EXPECT_TRUE(settlement.uncertain);
  EXPECT_EQ(settlement.not_before, bundle_.not_before);
  EXPECT_EQ(settlement.why, "earlier");
}

}  // namespace
}  // namespace dwell::delivery
