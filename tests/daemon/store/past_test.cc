// What is settled and old goes; what is not stays; the file shrinks again.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <filesystem>
#include <random>

#include "daemon/store/connection.h"
#include "daemon/store/migrations.h"
#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

class Past : public testing::Test {
 protected:
  void SetUp() override {
    store_ = OpenStore(path_);
    Good(store_->Begin());
    line_ = AddLine(*store_, "a");
  }
  /// A bundle of a new event that ended so; each in a lane of its own.
  std::int64_t Add(DeliveryState state, std::int64_t settled_at_ms, bool uncertain = false,
                   const std::string& body = {}) {
    const std::string id = std::to_string(++added_);
    const std::int64_t lane = AddLine(*store_, "line-" + id);
    BundleRecord bundle = Bundle(lane, AddEvent(*store_, lane, "event-" + id));
    bundle.uncertain = uncertain;
    if (!body.empty()) bundle.body = body;
    const std::int64_t seq = Good(store_->AddBundle(bundle));
    if (state == DeliveryState::kReady) return seq;
    Settlement settlement = Settled(seq, state);
    settlement.at = At(settled_at_ms);
    settlement.uncertain = uncertain;
    settlement.why = "said so";
    settlement.outcome = "{}";
    Good(store_->Settle(settlement));
    return seq;
  }
  BundleRecord Find(std::int64_t seq) { return *Good(store_->FindBundle(seq)); }
  void CommitAndMoveLog() {
    Good(store_->Commit());
    Good(store_->Checkpoint());
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  std::unique_ptr<Store> store_;
  std::int64_t line_ = 0;
  int added_ = 0;
};

TEST_F(Past, TheAgeIsExactToTheMillisecondAndTheOldestGoFirst) {
  const std::int64_t late = Add(DeliveryState::kCompleted, 5001);
  const std::int64_t due = Add(DeliveryState::kCompleted, 5000);
  const std::int64_t old = Add(DeliveryState::kCompleted, 10);
  EXPECT_EQ(Good(store_->RemoveBodies(At(5000), 1)), 1u);
  EXPECT_FALSE(Find(old).kept);
  EXPECT_TRUE(Find(due).kept);
  EXPECT_EQ(Good(store_->RemoveBodies(At(5000), 9)), 1u);
  EXPECT_FALSE(Find(due).kept);
  EXPECT_TRUE(Find(late).kept);
  EXPECT_NE(Find(late).body, "");
  EXPECT_EQ(Good(store_->RemoveBodies(At(5000), 9)), 0u);
}

TEST_F(Past, OfWhatIsRemovedEverythingElseStays) {
  const std::int64_t seq = Add(DeliveryState::kCompleted, 100);
  const BundleRecord before = Find(seq);
  const std::uint64_t completed = store_->counts().completed;
  EXPECT_EQ(Good(store_->RemoveBodies(At(100), 9)), 1u);
  const BundleRecord after = Find(seq);
  EXPECT_EQ(after.body, "");
  EXPECT_EQ(after.outcome, "");
  EXPECT_EQ(after.state, DeliveryState::kCompleted);
  EXPECT_EQ(after.settled_at, At(100));
  EXPECT_EQ(after.why, before.why);
  EXPECT_EQ(after.attempts, before.attempts);
  EXPECT_EQ(store_->counts().completed, completed);
  const auto of_event = Good(store_->BundlesOfEvent(before.event_seq));
  ASSERT_THAT(Seqs(of_event), ElementsAre(seq));
  EXPECT_FALSE(of_event[0].kept);
  EXPECT_GT(Add(DeliveryState::kReady, 0), seq) << "a number was given twice";
}

TEST_F(Past, NothingUnsentIsEverRemoved) {
  const std::int64_t ready = Add(DeliveryState::kReady, 0);
  const std::int64_t unsure = Add(DeliveryState::kReady, 0, true);
  const std::int64_t on_hold = Add(DeliveryState::kOnHold, 100);
  const std::int64_t claimed = Add(DeliveryState::kReady, 0);
  ASSERT_EQ(Good(store_->Claim(0, At(3000), 9)).size(), 3u);
  Settlement again = Settled(ready, DeliveryState::kReady);
  Good(store_->Settle(again));
  EXPECT_EQ(Good(store_->RemoveBodies(Instant::max(), 1000)), 0u);
  for (const std::int64_t seq : {ready, unsure, on_hold, claimed}) {
    EXPECT_TRUE(Find(seq).kept);
    EXPECT_NE(Find(seq).body, "");
  }
  EXPECT_EQ(Find(on_hold).outcome, "{}");
}

TEST_F(Past, WhatWasCancelledGoesWithItsDecisionKeptUnlessItMayHaveArrived) {
  const std::int64_t known = Add(DeliveryState::kOnHold, 100);
  const std::int64_t unsure = Add(DeliveryState::kOnHold, 100, true);
  for (const std::int64_t seq : {known, unsure}) {
    DecisionRecord decision;
    decision.bundle_seq = seq;
    decision.at = At(200);
    decision.act = Act::kCancelled;
    decision.by = "op-3";
    decision.why = "recorded by hand";
    Good(store_->Decide(decision));
  }
  EXPECT_EQ(Good(store_->RemoveBodies(At(199), 9)), 0u);
  EXPECT_EQ(Good(store_->RemoveBodies(At(200), 9)), 1u);
  EXPECT_FALSE(Find(known).kept);
  EXPECT_TRUE(Find(unsure).kept);
  for (const std::int64_t seq : {known, unsure}) {
    ASSERT_EQ(Good(store_->DecisionsAbout(seq)).size(), 1u);
    EXPECT_EQ(Good(store_->DecisionsAbout(seq))[0].why, "recorded by hand");
  }
}

TEST_F(Past, WhatArrivedAfterAllGoesLikeAnyOther) {
  const std::int64_t seq = Add(DeliveryState::kCompleted, 100, true);
  EXPECT_TRUE(Find(seq).uncertain);
  EXPECT_EQ(Good(store_->RemoveBodies(At(100), 9)), 1u);
}

TEST_F(Past, ARemovalThatWasNotCommittedDidNotHappen) {
  const std::int64_t seq = Add(DeliveryState::kCompleted, 100);
  Good(store_->Commit());
  Good(store_->Begin());
  EXPECT_EQ(Good(store_->RemoveBodies(At(100), 9)), 1u);
  store_->Rollback();
  store_.reset();
  store_ = OpenStore(path_);
  EXPECT_TRUE(Find(seq).kept);
  EXPECT_NE(Find(seq).body, "");
}

TEST_F(Past, TheFileShrinksToWhatIsUsedAndWhatIsToBeKeptFree) {
  std::mt19937 random(7);  // does not pack
  std::string body(6000, ' ');
  for (int i = 0; i < 500; ++i) {
    for (char& c : body) c = static_cast<char>(random());
    Add(DeliveryState::kCompleted, 100, false, body);
  }
  const std::int64_t waits = Add(DeliveryState::kReady, 0, false, body);
  CommitAndMoveLog();
  const auto full = std::filesystem::file_size(path_);
  ASSERT_GT(full, 500u * 6000);

  Good(store_->Begin());
  EXPECT_EQ(Good(store_->RemoveBodies(At(100), 1000)), 500u);
  Good(store_->Commit());
  EXPECT_GE(Good(store_->CountPages()).free, 490u);
  Good(store_->Begin());
  EXPECT_EQ(Good(store_->GiveBackPages(20, 16)), 16u);
  std::size_t pages = 1;
  while (pages > 0) pages = Good(store_->GiveBackPages(20, 64));
  EXPECT_EQ(Good(store_->CountPages()).free, 20u);
  CommitAndMoveLog();
  EXPECT_EQ(std::filesystem::file_size(path_), Good(store_->CountPages()).all * 8192);
  EXPECT_LT(std::filesystem::file_size(path_), full / 5);
  EXPECT_EQ(Find(waits).body, body);

  Good(store_->Finish());
  store_.reset();
  store_ = OpenStore(path_);  // with SQLite's own check of the whole file
  EXPECT_EQ(Find(waits).body, body);
  EXPECT_EQ(store_->counts().completed, 500u);
}

TEST_F(Past, AStoreOfTheVersionBeforeKeepsWhatItHeldAndCanBeCleaned) {
  store_.reset();
  const std::string old_path = folder_ / "old";
  {
    sqlite3* db = nullptr;
    ASSERT_EQ(sqlite3_open(old_path.c_str(), &db), SQLITE_OK);
    const DatabaseHandle closer(db);
    Good(Execute(db,
                 "PRAGMA page_size = 8192; PRAGMA auto_vacuum = INCREMENTAL;"
                 "PRAGMA application_id = 1685546348"));
    Good(Migrate(db, 0, MigrationSteps().first(5)));
    Good(Execute(db,
                 "INSERT INTO line VALUES(1, 'ward-tablets', 'a', 2, NULL, x'', '{}');"
                 "INSERT INTO bundle VALUES(1, 1, 0, 5, 2, 0, 0, 0, 1, 0, 100, 1, '', ''),"
                 " (2, 1, 0, 5, 3, 1, 1, 0, 1, 0, 100, 1, '', '');"
                 "INSERT INTO body VALUES(1, x'00000000'), (2, x'00000000');"
                 "UPDATE counts SET completed = 1, on_hold = 1, lines = 1"));
  }
  store_ = OpenStore(old_path);
  Good(store_->Begin());
  EXPECT_EQ(Good(store_->RemoveBodies(At(99), 9)), 0u);
  EXPECT_EQ(Good(store_->RemoveBodies(At(100), 9)), 1u);
  EXPECT_FALSE(Find(1).kept);
  EXPECT_THAT(Good(store_->OnHold(0, "", 9)), ElementsAre(2));
  EXPECT_THAT(Good(store_->BundlesOfEvent(0)), IsEmpty());
}

}  // namespace
}  // namespace dwell::store
