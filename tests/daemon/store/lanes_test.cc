// The order of deliveries: one in flight per lane, lanes independent of each other.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

class Lanes : public testing::Test {
 protected:
  Lanes() : store_(OpenStore(folder_ / "store")) { Good(store_->Begin()); }

  void Reopen() {
    Good(store_->Commit());
    store_.reset();
    store_ = OpenStore(folder_ / "store");
    Good(store_->Begin());
  }
  std::int64_t Add(std::int64_t line, DeliveryState state = DeliveryState::kReady) {
    return Good(store_->AddBundle(Bundle(line, 0, state)));
  }
  std::vector<std::int64_t> Claim(std::int64_t now_ms = 5000, std::size_t max = 10) {
    return Seqs(Good(store_->Claim(0, At(now_ms), max)));
  }
  void Settle(std::int64_t seq, DeliveryState state) { Good(store_->Settle(Settled(seq, state))); }

  test::TempFolder folder_;
  std::unique_ptr<Store> store_;
};

TEST_F(Lanes, OnlyTheHeadOfALaneIsClaimedAndOnlyOnce) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t first = Add(a);
  Add(a);
  EXPECT_THAT(Claim(), ElementsAre(first));
  EXPECT_THAT(Claim(), IsEmpty());
}

TEST_F(Lanes, CompletionMakesTheNextBundleTheHead) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t first = Add(a);
  const std::int64_t second = Add(a);
  Claim();
  Settle(first, DeliveryState::kCompleted);
  EXPECT_THAT(Claim(), ElementsAre(second));
}

TEST_F(Lanes, LanesAreServedOldestFirstWithBodiesUpToTheNumberAskedFor) {
  std::vector<std::int64_t> lines;
  for (const char* name : {"a", "b", "c"}) lines.push_back(AddLine(*store_, name));
  const std::int64_t c = Add(lines[2]);
  const std::int64_t a = Add(lines[0]);
  Add(lines[1]);
  const auto claimed = Good(store_->Claim(0, At(5000), 2));
  EXPECT_THAT(Seqs(claimed), ElementsAre(c, a));
  EXPECT_EQ(claimed[0].body, "body of event 0");
  EXPECT_EQ(claimed[0].state, DeliveryState::kInProgress);
}

TEST_F(Lanes, OnHoldBlocksItsOwnLaneOnly) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t b = AddLine(*store_, "b");
  const std::int64_t held = Add(a);
  Claim();
  Settle(held, DeliveryState::kOnHold);
  Add(a);
  const std::int64_t other = Add(b);
  EXPECT_THAT(Claim(), ElementsAre(other));
}

TEST_F(Lanes, ABundleAddedOnHoldBlocksThoseBehindItUntilItIsCancelled) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t held = Add(a, DeliveryState::kOnHold);
  const std::int64_t behind = Add(a);
  EXPECT_THAT(Claim(), IsEmpty());
  Settle(held, DeliveryState::kCancelled);
  EXPECT_THAT(Claim(), ElementsAre(behind));
}

TEST_F(Lanes, CancellingABundleThatWaitsBehindAnotherLeavesTheHeadAlone) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t first = Add(a);
  const std::int64_t second = Add(a);
  const std::int64_t third = Add(a);
  Settle(second, DeliveryState::kCancelled);
  EXPECT_THAT(Claim(), ElementsAre(first));
  Settle(first, DeliveryState::kCompleted);
  EXPECT_THAT(Claim(), ElementsAre(third));
}

TEST_F(Lanes, ARetryWaitsForItsTimeAndKeepsItsLaneWaiting) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t first = Add(a);
  Add(a);
  Claim();
  Settlement again = Settled(first, DeliveryState::kReady);
  again.not_before = At(6000);
  again.uncertain = true;
  again.why = "no answer in time";
  Good(store_->Settle(again));
  EXPECT_EQ(Good(store_->NextReady(0)), At(6000));
  EXPECT_THAT(Claim(5999), IsEmpty());
  const auto claimed = Good(store_->Claim(0, At(6000), 5));
  ASSERT_THAT(Seqs(claimed), ElementsAre(first));
  EXPECT_EQ(claimed[0].attempts, 1u);
  EXPECT_TRUE(claimed[0].uncertain);
  EXPECT_EQ(claimed[0].why, "no answer in time");
}

TEST_F(Lanes, ThoseThatWaitedForTheirTimeComeBeforeNewOnes) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t b = AddLine(*store_, "b");
  const std::int64_t fresh = Add(a);
  const std::int64_t retry = Add(b);
  Claim();
  Settlement again = Settled(retry, DeliveryState::kReady);
  again.not_before = At(5500);
  Good(store_->Settle(again));
  Settlement unused = Settled(fresh, DeliveryState::kReady);
  unused.counts = false;
  Good(store_->Settle(unused));
  EXPECT_THAT(Claim(6000, 1), ElementsAre(retry));
  const auto claimed = Good(store_->Claim(0, At(6000), 1));
  ASSERT_THAT(Seqs(claimed), ElementsAre(fresh));
  EXPECT_EQ(claimed[0].attempts, 0u);
}

TEST_F(Lanes, WaitsThatAreTooLongCanBeEndedAndTheOthersStay) {
  const std::int64_t soon = Add(AddLine(*store_, "a"));
  const std::int64_t late = Add(AddLine(*store_, "b"));
  const std::int64_t held = Add(AddLine(*store_, "c"));
  Claim();
  for (const auto& [seq, until] : {std::pair(soon, 6000), std::pair(late, 900'000'000)}) {
    Settlement again = Settled(seq, DeliveryState::kReady);
    again.not_before = At(until);
    Good(store_->Settle(again));
  }
  Settle(held, DeliveryState::kOnHold);
  Good(store_->EndWaitsBy(0, At(8000)));
  EXPECT_EQ(Good(store_->NextReady(0)), At(6000));
  EXPECT_THAT(Claim(7999), ElementsAre(soon));
  EXPECT_THAT(Claim(8000), ElementsAre(late));
}

TEST_F(Lanes, WhatWasInFlightAtTheEndIsReadyAgainAndUncertain) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t b = AddLine(*store_, "b");
  const std::int64_t in_flight = Add(a);
  Claim();
  const std::int64_t waiting = Add(b);
  Reopen();
  EXPECT_EQ(store_->counts().in_progress, 0u);
  EXPECT_EQ(store_->counts().ready, 2u);
  const auto claimed = Good(store_->Claim(0, At(1), 10));
  ASSERT_THAT(Seqs(claimed), ElementsAre(in_flight, waiting));
  EXPECT_TRUE(claimed[0].uncertain);
  EXPECT_FALSE(claimed[1].uncertain);
}

TEST_F(Lanes, NothingToClaimMeansNoNextInstant) {
  EXPECT_EQ(Good(store_->NextReady(0)), std::nullopt);
  const std::int64_t a = AddLine(*store_, "a");
  Add(a);
  EXPECT_EQ(Good(store_->NextReady(0)), At(0));
  Claim();
  EXPECT_EQ(Good(store_->NextReady(0)), std::nullopt);
}

TEST_F(Lanes, CountsFollowEveryChangeAndARollbackTakesThemBack) {
  const std::int64_t a = AddLine(*store_, "a");
  AddEvent(*store_, a, "e1");
  const std::int64_t first = Add(a);
  Add(a);
  Add(a, DeliveryState::kOnHold);
  Good(store_->Commit());
  Good(store_->Begin());
  Claim();
  Settle(first, DeliveryState::kCompleted);
  Counts counts = Good(store_->Count());
  EXPECT_EQ(counts.events, 1u);
  EXPECT_EQ(counts.lines, 1u);
  EXPECT_EQ(counts.ready, 1u);
  EXPECT_EQ(counts.completed, 1u);
  EXPECT_EQ(counts.on_hold, 1u);
  EXPECT_EQ(counts.oldest_waiting, At(2000));
  store_->Rollback();
  Good(store_->Begin());
  counts = Good(store_->Count());
  EXPECT_EQ(counts.ready, 2u);
  EXPECT_EQ(counts.completed, 0u);
  Reopen();
  EXPECT_EQ(store_->counts().ready, 2u);
  EXPECT_EQ(store_->counts().on_hold, 1u);
}

TEST_F(Lanes, TheQueueListsOpenBundlesOldestFirstInPages) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t event = AddEvent(*store_, a, "e1");
  const std::int64_t done = Good(store_->AddBundle(Bundle(a, event)));
  Claim();
  Settle(done, DeliveryState::kCompleted);
  const std::int64_t of_event = Good(store_->AddBundle(Bundle(a, event)));
  const std::int64_t of_clock = Add(a, DeliveryState::kOnHold);
  const auto rows = Good(store_->ListQueue(0, 10));
  ASSERT_EQ(rows.size(), 2u);
  EXPECT_EQ(rows[0].bundle_seq, of_event);
  EXPECT_EQ(rows[0].source, "ward-tablets");
  EXPECT_EQ(rows[0].line_id, "a");
  EXPECT_EQ(rows[0].event_id, "e1");
  EXPECT_EQ(rows[1].bundle_seq, of_clock);
  EXPECT_EQ(rows[1].event_id, "");
  EXPECT_EQ(rows[1].state, DeliveryState::kOnHold);
  EXPECT_EQ(Good(store_->ListQueue(of_event, 1)).at(0).bundle_seq, of_clock);
  EXPECT_THAT(Good(store_->ListQueue(of_clock, 10)), IsEmpty());
}

}  // namespace
}  // namespace dwell::store
