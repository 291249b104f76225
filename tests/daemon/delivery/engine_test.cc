// What delivery does next, fact by fact, on clocks turned by hand and with no store at all.
#include "daemon/delivery/engine.h"

#include <gmock/gmock.h>

#include <set>

#include "tests/daemon/delivery/engine_fixture.h"

namespace dwell::delivery {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;
using testing::SizeIs;

TEST_F(EngineTest, AtTheStartItLooksIntoTheStoreForAsMuchAsItCanTake) {
  const Orders orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_EQ(orders.visit->wanted, 4U * 33) << "four senders, 32 ahead for each";
  EXPECT_EQ(orders.visit->now, now_.wall);
  EXPECT_THAT(orders.visit->settlements, IsEmpty());
  EXPECT_FALSE(Decide().visit) << "never two at once";
}

TEST_F(EngineTest, AnEmptyStoreIsLeftAloneUntilThereIsNews) {
  Visited({});
  Orders orders = Decide();
  EXPECT_FALSE(orders.visit);
  EXPECT_FALSE(orders.bell);
  engine_.News();
  orders = Decide();
  EXPECT_TRUE(orders.visit);
}

TEST_F(EngineTest, NewsDuringAVisitIsNotForgotten) {
  ASSERT_TRUE(Decide().visit);
  engine_.News();
  EXPECT_FALSE(Decide().visit);
  engine_.Visited({}, std::nullopt, now_);
  EXPECT_TRUE(Decide().visit);
}

TEST_F(EngineTest, EachSenderCarriesOneAndTheNextFollowsOnTheSameSender) {
  Visited(Bundles(1, 6));
  const Orders first = Decide();
  ASSERT_THAT(first.sendings, SizeIs(4));
  EXPECT_THAT(SendersOf(first), testing::UnorderedElementsAre(0, 1, 2, 3));
  EXPECT_THAT(SeqsOf(first), ElementsAre(1, 2, 3, 4));
  EXPECT_THAT(Decide().sendings, IsEmpty()) << "what is said once is not said again";
  Ended(first.sendings[2], Done());
  const Orders second = Decide();
  ASSERT_THAT(second.sendings, SizeIs(1));
  EXPECT_EQ(second.sendings[0].sender, first.sendings[2].sender);
  EXPECT_THAT(SeqsOf(second), ElementsAre(5));
  EXPECT_EQ(engine_.progress().in_flight, 4U);
  EXPECT_EQ(engine_.progress().completed, 1U);
}

TEST_F(EngineTest, FewSettlementsWaitForCompanyButNotLong) {
  Visited(Bundles(1, 40));
  Orders orders = Decide();
  Ended(orders.sendings[0], Done());
  orders = Decide();
  EXPECT_FALSE(orders.visit);
  ASSERT_TRUE(orders.gather);
  EXPECT_LE(*orders.gather, milliseconds(5)) << "a crash in this time makes a repeat";
  orders = Decide();
  EXPECT_FALSE(orders.visit);
  EXPECT_FALSE(orders.gather) << "it is asked for once";
  engine_.Gathered();
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_THAT(orders.visit->settlements, SizeIs(1));
}

TEST_F(EngineTest, AGatheringThatIsOvertakenByAVisitLeavesNothingBehind) {
  Visited(Bundles(1, 6));
  Orders orders = Decide();
  Ended(orders.sendings[0], Done());
  orders = Decide();
  ASSERT_TRUE(orders.gather);
  ASSERT_THAT(orders.sendings, SizeIs(1));
  Ended(orders.sendings[0], Done());
  orders = Decide();
  ASSERT_TRUE(orders.visit) << "a sender is idle";
  engine_.Gathered();  // on its way when the visit was ordered
  engine_.Visited({}, std::nullopt, now_);
  orders = Decide();
  EXPECT_FALSE(orders.visit);
  EXPECT_FALSE(orders.gather);
}

TEST_F(EngineTest, ManySettlementsGoAtOnce) {
  Visited(Bundles(1, 100));
  std::vector<Sending> flying = Decide().sendings;
  std::size_t settled = 0;
  for (;;) {
    Ended(flying.back(), Done());
    flying.pop_back();
    ++settled;
    Orders orders = Decide();
    for (Sending& sending : orders.sendings) flying.push_back(std::move(sending));
    if (!orders.visit) continue;
    EXPECT_THAT(orders.visit->settlements, SizeIs(settled));
    break;
  }
  EXPECT_EQ(settled, 32U);
}

TEST_F(EngineTest, AnIdleSenderDoesNotWaitForCompany) {
  Visited(Bundles(1, 1));
  Orders orders = Decide();
  Ended(orders.sendings[0], Done());
  orders = Decide();
  ASSERT_TRUE(orders.visit) << "its lane may hold the next";
  EXPECT_THAT(orders.visit->settlements, SizeIs(1));
  EXPECT_EQ(orders.visit->wanted, 4U * 33);
}

TEST_F(EngineTest, WhatBecomesReadyLaterIsFetchedThen) {
  Visited({}, now_.wall + seconds(7));
  Orders orders = Decide();
  EXPECT_FALSE(orders.visit);
  EXPECT_EQ(orders.bell, now_.steady + seconds(7));
  Pass(seconds(7));
  EXPECT_TRUE(Decide().visit);
}

TEST_F(EngineTest, AWallClockThatIsSetMakesNoWaitShorterOrLonger) {
  for (const std::chrono::hours jump : {std::chrono::hours(6), std::chrono::hours(-12)}) {
    Visited({}, At(seconds(600)));
    now_.wall += jump;
    EXPECT_FALSE(Decide().visit);
    EXPECT_EQ(Decide().bell, now_.steady + seconds(600));
    Pass(seconds(600));
    const Orders orders = Decide();
    ASSERT_TRUE(orders.visit);
    EXPECT_EQ(orders.visit->now, At(seconds(0)));
    engine_.Visited(Bundles(1, 1), {}, now_);
    Ended(Decide().sendings.at(0), Strained());
    engine_.Gathered();
    const Orders after = Decide();
    ASSERT_TRUE(after.visit);
    EXPECT_EQ(after.visit->settlements.at(0).at, now_.wall) << "what is told is the wall clock";
    EXPECT_GT(after.visit->settlements.at(0).not_before, after.visit->now);
    EXPECT_LE(after.visit->settlements.at(0).not_before, after.visit->now + seconds(1));
    engine_.Visited({}, {}, now_);
    engine_.News();
  }
}

TEST_F(EngineTest, WhatWaitedBeforeTheStartWaitsNoLongerThanTheLongestBackoff) {
  const Orders first = Decide();
  ASSERT_TRUE(first.visit);
  EXPECT_EQ(first.visit->waits_end_by, now_.wall + limits::kBackoffMax);
  engine_.VisitFailed(*first.visit, now_);
  Pass(seconds(1));
  const Orders again = Decide();
  ASSERT_TRUE(again.visit);
  EXPECT_TRUE(again.visit->waits_end_by) << "nothing of the first visit happened";
  engine_.Visited({}, {}, now_);
  engine_.News();
  const Orders later = Decide();
  ASSERT_TRUE(later.visit);
  EXPECT_FALSE(later.visit->waits_end_by);
}

TEST_F(EngineTest, WhatBecameReadyDuringTheVisitIsFetchedAtOnce) {
  Visited(Bundles(1, 1), now_.wall - milliseconds(1));
  EXPECT_TRUE(Decide().visit);
}

TEST_F(EngineTest, AFailedVisitLosesNoSettlementAndTheStoreRestsAMoment) {
  Visited(Bundles(1, 1));
  Orders orders = Decide();
  Ended(orders.sendings[0], Done());
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  engine_.VisitFailed(std::move(*orders.visit), now_);
  engine_.News();
  orders = Decide();
  EXPECT_FALSE(orders.visit);
  EXPECT_EQ(orders.bell, now_.steady + seconds(1));
  Pass(seconds(1));
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  ASSERT_THAT(orders.visit->settlements, SizeIs(1));
  EXPECT_EQ(orders.visit->settlements[0].bundle_seq, 1);
  EXPECT_EQ(orders.visit->settlements[0].state, store::DeliveryState::kCompleted);
}

TEST_F(EngineTest, ADeadEndpointIsLeftAloneThenProbedByOneAndNobodysAttemptsCount) {
  Visited(Bundles(1, 10));
  Orders orders = Decide();
  const std::vector<Sending> flying = std::move(orders.sendings);
  Ended(flying[0], Down());
  orders = Decide();
  EXPECT_THAT(orders.sendings, IsEmpty());
  for (std::size_t i = 1; i < flying.size(); ++i) Ended(flying[i], Down());
  orders = Decide();
  ASSERT_TRUE(orders.bell);
  engine_.Gathered();
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_EQ(orders.visit->wanted, 0U);
  EXPECT_THAT(orders.visit->settlements, SizeIs(10)) << "four came back, six go back";
  for (const store::Settlement& settlement : orders.visit->settlements) {
    EXPECT_EQ(settlement.state, store::DeliveryState::kReady);
    EXPECT_FALSE(settlement.counts);
    EXPECT_FALSE(settlement.uncertain);
    EXPECT_EQ(settlement.not_before, Instant{}) << "as it was";
  }
  engine_.Visited({}, now_.wall, now_);
  orders = Decide();
  EXPECT_FALSE(orders.visit) << "in a pause nothing is claimed";
  EXPECT_GT(engine_.progress().paused_until, now_.steady);
  EXPECT_EQ(engine_.progress().paused, flying.size());
  EXPECT_EQ(engine_.progress().again, flying.size());
  ASSERT_TRUE(orders.bell);
  EXPECT_LE(*orders.bell - now_.steady, seconds(1));
  Pass(std::chrono::ceil<milliseconds>(*orders.bell - now_.steady));
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_EQ(orders.visit->wanted, 1U) << "one probe";
  EXPECT_LE(engine_.progress().paused_until, now_.steady);
}

TEST_F(EngineTest, AfterAPauseTheLanesComeBackWithoutAStampede) {
  Pause();
  std::vector<std::size_t> flights;
  std::int64_t seq = 1;
  for (int round = 0; round < 4; ++round) {
    Orders orders = Decide();
    ASSERT_TRUE(orders.visit);
    engine_.Visited(Bundles(seq, std::min<std::size_t>(orders.visit->wanted, 4)), std::nullopt,
                    now_);
    seq += 4;
    orders = Decide();
    flights.push_back(orders.sendings.size());
    for (const Sending& sending : orders.sendings) Ended(sending, Done());
  }
  EXPECT_THAT(flights, ElementsAre(1, 2, 4, 4));
}

TEST_F(EngineTest, TheWaitAnEndpointNamesIsObeyedByAll) {
  Visited(Bundles(1, 2));
  Orders orders = Decide();
  Verdict busy;
  busy.course = Course::kAgain;
  busy.pauses = true;
  busy.retry_after = seconds(100);
  Ended(orders.sendings[0], busy);
  Ended(orders.sendings[1], Done());
  EXPECT_TRUE(Decide().gather);
  engine_.Gathered();
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  ASSERT_THAT(orders.visit->settlements, SizeIs(2));
  EXPECT_TRUE(orders.visit->settlements[0].counts);
  EXPECT_GE(orders.visit->settlements[0].not_before, now_.wall + seconds(200))
      << "another lane probes when the pause ends";
  engine_.Visited({}, now_.wall, now_);
  Pass(seconds(99));
  engine_.News();
  EXPECT_FALSE(Decide().visit);
  Pass(seconds(1));
  EXPECT_TRUE(Decide().visit);
}

TEST_F(EngineTest, ADrainSendsNothingMoreGivesBackAndEndsWhenAllIsTold) {
  Visited(Bundles(1, 6));
  Orders orders = Decide();
  const std::vector<Sending> flying = std::move(orders.sendings);
  engine_.Drain(now_, seconds(20));
  orders = Decide();
  EXPECT_THAT(orders.sendings, IsEmpty());
  ASSERT_TRUE(orders.visit);
  EXPECT_EQ(orders.visit->wanted, 0U);
  EXPECT_THAT(orders.visit->settlements, SizeIs(2)) << "those not yet sent";
  EXPECT_FALSE(orders.finished);
  engine_.Visited({}, now_.wall, now_);
  EXPECT_FALSE(Decide().finished);
  for (const Sending& sending : flying) Ended(sending, Done());
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_THAT(orders.visit->settlements, SizeIs(4));
  EXPECT_FALSE(orders.finished) << "not before the store has it";
  engine_.Visited({}, now_.wall, now_);
  orders = Decide();
  EXPECT_TRUE(orders.finished);
  EXPECT_FALSE(orders.bell);
}

TEST_F(EngineTest, WhatHangsIsCutOffOnceAfterTheDrainTime) {
  Visited(Bundles(1, 1));
  Orders orders = Decide();
  const Sending sending = orders.sendings[0];
  engine_.Drain(now_, seconds(20));
  orders = Decide();
  EXPECT_FALSE(orders.cut_off);
  EXPECT_EQ(orders.bell, now_.steady + seconds(20));
  Pass(seconds(20));
  EXPECT_TRUE(Decide().cut_off);
  EXPECT_FALSE(Decide().cut_off);
  Verdict lost;
  lost.course = Course::kAgain;
  lost.uncertain = true;
  Ended(sending, lost);
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_TRUE(orders.visit->settlements.at(0).uncertain);
}

TEST_F(EngineTest, ADrainThatIsHurriedEndsEarlier) {
  Visited(Bundles(1, 1));
  ASSERT_THAT(Decide().sendings, SizeIs(1));
  engine_.Drain(now_, seconds(20));
  EXPECT_FALSE(Decide().cut_off);
  engine_.Drain(now_, seconds(0));
  EXPECT_TRUE(Decide().cut_off);
}

TEST_F(EngineTest, WhatIsClaimedWhileADrainBeginsGoesBack) {
  ASSERT_TRUE(Decide().visit);
  engine_.Drain(now_, seconds(20));
  EXPECT_FALSE(Decide().finished);
  engine_.Visited(Bundles(1, 3), now_.wall, now_);
  Orders orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_THAT(orders.visit->settlements, SizeIs(3));
  engine_.Visited({}, now_.wall, now_);
  EXPECT_TRUE(Decide().finished);
}

TEST_F(EngineTest, WhenTheStoreFailsDuringADrainTheEndComesAllTheSame) {
  Visited(Bundles(1, 1));
  Orders orders = Decide();
  const Sending sending = orders.sendings[0];
  engine_.Drain(now_, seconds(20));
  Ended(sending, Done());
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  engine_.VisitFailed(std::move(*orders.visit), now_);
  EXPECT_TRUE(Decide().finished) << "it stays in-progress, and is uncertain at the next start";
}

TEST_F(EngineTest, WaitsOfThoseWhoFailTogetherDiffer) {
  Visited(Bundles(1, 4));
  const Orders orders = Decide();
  Verdict failed;
  failed.course = Course::kAgain;
  std::set<Instant> times;
  for (const Sending& sending : orders.sendings) Ended(sending, failed);
  EXPECT_TRUE(Decide().gather);
  engine_.Gathered();
  const Orders next = Decide();
  ASSERT_TRUE(next.visit);
  for (const store::Settlement& settlement : next.visit->settlements) {
    times.insert(settlement.not_before);
  }
  EXPECT_THAT(times, SizeIs(4));
}

}  // namespace
}  // namespace dwell::delivery
