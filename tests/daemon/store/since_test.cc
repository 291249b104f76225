// Which deliveries of a line reading back looks at.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

class Since : public testing::Test {
 protected:
  Since() : store_(OpenStore(path_)) {
    Good(store_->Begin());
    line_ = AddLine(*store_, "a");
  }

  std::int64_t Add(std::int64_t event_seq) {
    return Good(store_->AddBundle(Bundle(line_, event_seq)));
  }
  /// Claims the head of the lane and settles it.
  void Settle(std::int64_t seq, DeliveryState state, Instant at) {
    Good(store_->Claim(0, At(5000), 10));
    Settlement settlement;
    settlement.bundle_seq = seq;
    settlement.state = state;
    settlement.at = at;
    Good(store_->Settle(settlement));
  }
  std::vector<std::int64_t> Seqs(Instant since) {
    std::vector<std::int64_t> seqs;
    for (const BundleRecord& bundle : Good(store_->BundlesSince(line_, since))) {
      EXPECT_TRUE(bundle.body.empty());
      seqs.push_back(bundle.seq);
    }
    return seqs;
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  std::unique_ptr<Store> store_;
  std::int64_t line_ = 0;
};

TEST_F(Since, WhatWasCompletedSinceAndWhatIsOpenIsListedTheNewestFirst) {
  const std::int64_t event = AddEvent(*store_, line_, "e");
  const std::int64_t early = Add(event);
  Settle(early, DeliveryState::kCompleted, At(6000));
  const std::int64_t of_the_clock = Add(0);
  Settle(of_the_clock, DeliveryState::kCompleted, At(7000));
  const std::int64_t late = Add(event);
  Settle(late, DeliveryState::kCompleted, At(8000));
  const std::int64_t held = Add(event);
  Settle(held, DeliveryState::kOnHold, At(9000));
  const std::int64_t behind = Add(0);
  EXPECT_THAT(Seqs(At(7000)), ElementsAre(behind, held, late, of_the_clock));
  EXPECT_THAT(Seqs(At(7001)), ElementsAre(behind, held, late));
  EXPECT_THAT(Seqs(At(99000)), ElementsAre(behind, held));
  EXPECT_THAT(Seqs(Instant::min()), ElementsAre(behind, held, late, of_the_clock, early));
}

TEST_F(Since, ACancelledOneIsNotListedNorAnotherLines) {
  const std::int64_t event = AddEvent(*store_, line_, "e");
  const std::int64_t held = Add(event);
  Settle(held, DeliveryState::kOnHold, At(6000));
  DecisionRecord decision;
  decision.bundle_seq = held;
  decision.at = At(7000);
  decision.act = Act::kCancelled;
  decision.by = "op-3";
  decision.why = "recorded by hand";
  Good(store_->Decide(decision));
  Good(store_->AddBundle(Bundle(AddLine(*store_, "b"), 0)));
  EXPECT_THAT(Seqs(Instant::min()), IsEmpty());
}

TEST_F(Since, OneWhoseBodyIsGoneIsListedAndSaysSo) {
  const std::int64_t event = AddEvent(*store_, line_, "e");
  Settle(Add(event), DeliveryState::kCompleted, At(6000));
  EXPECT_EQ(Good(store_->RemoveBodies(At(6000), 10)), 1U);
  const auto bundles = Good(store_->BundlesSince(line_, At(6000)));
  ASSERT_EQ(bundles.size(), 1U);
  EXPECT_FALSE(bundles[0].kept);
}

TEST_F(Since, WhyABundleGoesAgainIsWrittenDownAsSuch) {
  DecisionRecord decision;
  decision.bundle_seq = Add(0);
  decision.act = Act::kSentAgain;
  decision.by = "op-3";
  decision.why = "the record lost a day";
  Good(store_->WriteDown(decision));
  const auto decisions = Good(store_->DecisionsAbout(decision.bundle_seq));
  ASSERT_EQ(decisions.size(), 1U);
  EXPECT_EQ(decisions[0].act, Act::kSentAgain);
  EXPECT_EQ(ActName(decisions[0].act), "sent-again");
  EXPECT_EQ(decisions[0].why, "the record lost a day");
}

}  // namespace
}  // namespace dwell::store
