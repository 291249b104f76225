// What persons decide about deliveries on hold: what it does to the lane, and that it is kept.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>
#include <sys/wait.h>
#include <unistd.h>

#include "daemon/store/connection.h"
#include "daemon/store/migrations.h"
#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

class Decisions : public testing::Test {
 protected:
  Decisions() { Open(); }

  void Open() {
    store_ = OpenStore(path_);
    Good(store_->Begin());
  }
  void Reopen() {
    Good(store_->Commit());
    store_.reset();
    Open();
  }
  /// A bundle that the endpoint refused, as the head of its lane.
  std::int64_t Refused(std::int64_t line) {
    const std::int64_t seq = Good(store_->AddBundle(Bundle(line, 0)));
    EXPECT_THAT(Claim(), ElementsAre(seq));
    Settlement held = Settled(seq, DeliveryState::kOnHold);
    held.why = "the endpoint answered 422: it refused it";
    Good(store_->Settle(held));
    return seq;
  }
  std::int64_t Ready(std::int64_t line) { return Good(store_->AddBundle(Bundle(line, 0))); }
  std::vector<std::int64_t> Claim() { return Seqs(Good(store_->Claim(0, At(5000), 10))); }
  std::int64_t Decide(std::int64_t seq, Act act, std::int64_t made_again_as = 0) {
    DecisionRecord decision;
    decision.bundle_seq = seq;
    decision.at = At(7000);
    decision.act = act;
    decision.made_again_as = made_again_as;
    decision.by = "op-3";
    decision.why = "the endpoint was put right";
    return Good(store_->Decide(decision));
  }
  DeliveryState StateOf(std::int64_t seq) { return Good(store_->FindBundle(seq))->state; }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  std::unique_ptr<Store> store_;
};

TEST_F(Decisions, AReleasedBundleIsClaimedAgainBeforeThoseBehindItWithNoAttemptsCounted) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t held = Refused(a);
  const std::int64_t behind = Ready(a);
  EXPECT_THAT(Claim(), IsEmpty());
  Decide(held, Act::kReleased);
  const auto claimed = Good(store_->Claim(0, At(5000), 10));
  ASSERT_THAT(Seqs(claimed), ElementsAre(held));
  EXPECT_EQ(claimed[0].attempts, 0u);
  EXPECT_EQ(claimed[0].body, "body of event 0");
  EXPECT_FALSE(claimed[0].settled_at.has_value());
  Good(store_->Settle(Settled(held, DeliveryState::kCompleted)));
  EXPECT_THAT(Claim(), ElementsAre(behind));
}

TEST_F(Decisions, ACancelledBundleIsKeptAndItsLaneMovesOn) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t held = Refused(a);
  const std::int64_t behind = Ready(a);
  Decide(held, Act::kCancelled);
  EXPECT_THAT(Claim(), ElementsAre(behind));
  const auto kept = Good(store_->FindBundle(held));
  EXPECT_EQ(kept->state, DeliveryState::kCancelled);
  EXPECT_EQ(kept->body, "body of event 0");
  EXPECT_EQ(kept->attempts, 1u);
  EXPECT_EQ(kept->settled_at, At(7000));
  EXPECT_EQ(store_->counts().cancelled, 1u);
  EXPECT_EQ(store_->counts().on_hold, 0u);
}

TEST_F(Decisions, WhatIsDecidedInOneLaneLeavesTheOthersAsTheyAre) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t b = AddLine(*store_, "b");
  const std::int64_t held = Refused(a);
  const std::int64_t other = Refused(b);
  Ready(b);
  Decide(held, Act::kCancelled);
  EXPECT_THAT(Claim(), IsEmpty());
  EXPECT_EQ(StateOf(other), DeliveryState::kOnHold);
}

TEST_F(Decisions, BundlesMadeAgainAsAnotherMakeRoomForItInTheirLane) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t held = Good(store_->AddBundle(Bundle(a, 0, DeliveryState::kOnHold)));
  const std::int64_t behind = Ready(a);
  EXPECT_THAT(Seqs(Good(store_->OpenOfLine(a))), ElementsAre(held, behind));
  const std::int64_t again = Ready(a);
  Decide(held, Act::kMadeAgain, again);
  Decide(behind, Act::kMadeAgain, again);
  EXPECT_THAT(Claim(), ElementsAre(again));
  EXPECT_EQ(Good(store_->DecisionsAbout(behind)).at(0).made_again_as, again);
  EXPECT_EQ(store_->counts().cancelled, 2u);
}

TEST_F(Decisions, AreKeptWithWhoWhyAndTheFormerReasonAcrossARestart) {
  const std::int64_t held = Refused(AddLine(*store_, "a"));
  const std::int64_t first = Decide(held, Act::kReleased);
  Claim();
  Good(store_->Settle(Settled(held, DeliveryState::kOnHold)));
  Decide(held, Act::kCancelled);
  Reopen();
  const auto about = Good(store_->DecisionsAbout(held));
  ASSERT_EQ(about.size(), 2u);
  EXPECT_EQ(about[0].seq, first);
  EXPECT_EQ(about[0].at, At(7000));
  EXPECT_EQ(about[0].act, Act::kReleased);
  EXPECT_EQ(about[0].by, "op-3");
  EXPECT_EQ(about[0].why, "the endpoint was put right");
  EXPECT_EQ(about[0].former_why, "the endpoint answered 422: it refused it");
  EXPECT_EQ(about[0].former_attempts, 1u);
  EXPECT_EQ(about[1].act, Act::kCancelled);
  EXPECT_EQ(StateOf(held), DeliveryState::kCancelled);
  EXPECT_EQ(store_->counts().cancelled, 1u);
}

TEST_F(Decisions, CannotBeChangedOrRemovedByAnybody) {
  Decide(Refused(AddLine(*store_, "a")), Act::kCancelled);
  Good(store_->Commit());
  store_.reset();
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open(path_.c_str(), &db), SQLITE_OK);
  const DatabaseHandle closer(db);
  for (const char* sql : {"UPDATE decision SET decided_by = 'op-4'", "DELETE FROM decision"}) {
    EXPECT_EQ(sqlite3_exec(db, sql, nullptr, nullptr, nullptr), SQLITE_CONSTRAINT) << sql;
  }
  EXPECT_EQ(Good(ReadNumber(db, "SELECT count(*) FROM decision WHERE decided_by = 'op-3'")), 1);
}

TEST_F(Decisions, ARollbackUndoesTheDecisionWithWhatItDid) {
  const std::int64_t held = Refused(AddLine(*store_, "a"));
  Good(store_->Commit());
  Good(store_->Begin());
  Decide(held, Act::kCancelled);
  store_->Rollback();
  Good(store_->Begin());
  EXPECT_THAT(Good(store_->DecisionsAbout(held)), IsEmpty());
  EXPECT_EQ(StateOf(held), DeliveryState::kOnHold);
  EXPECT_EQ(store_->counts().on_hold, 1u);
}

TEST_F(Decisions, AreDoneWholeOrNotAtAllWhenTheProcessIsKilled) {
  const std::int64_t a = AddLine(*store_, "a");
  const std::int64_t held = Refused(a);
  const std::int64_t behind = Ready(a);
  Good(store_->Commit());
  store_.reset();
  for (const bool committed : {false, true}) {
    const pid_t child = ::fork();
    if (child == 0) {
      Open();
      Decide(held, Act::kCancelled);
      if (committed) Good(store_->Commit());
      ::kill(::getpid(), SIGKILL);
    }
    int status = 0;
    ASSERT_EQ(::waitpid(child, &status, 0), child);
    ASSERT_TRUE(WIFSIGNALED(status));
    Open();
    EXPECT_EQ(Good(store_->DecisionsAbout(held)).size(), committed ? 1u : 0u);
    EXPECT_EQ(StateOf(held), committed ? DeliveryState::kCancelled : DeliveryState::kOnHold);
    EXPECT_EQ(store_->counts().on_hold, committed ? 0u : 1u);
    EXPECT_EQ(Claim(), committed ? std::vector{behind} : std::vector<std::int64_t>());
    store_->Rollback();
    store_.reset();
  }
}

TEST_F(Decisions, WhatIsOnHoldIsFoundByPartOfItsReasonInPages) {
  std::vector<std::int64_t> refused;
  for (const char* name : {"a", "b", "c"}) refused.push_back(Refused(AddLine(*store_, name)));
  Good(store_->AddBundle(Bundle(AddLine(*store_, "d"), 0, DeliveryState::kOnHold)));
  Ready(AddLine(*store_, "e"));
  EXPECT_THAT(Good(store_->OnHold(0, "answered 422", 2)), ElementsAre(refused[0], refused[1]));
  EXPECT_THAT(Good(store_->OnHold(refused[1], "answered 422", 2)), ElementsAre(refused[2]));
  EXPECT_THAT(Good(store_->OnHold(0, "answered 4_2", 9)), IsEmpty());
  EXPECT_EQ(Good(store_->OnHold(0, "", 9)).size(), 4u) << "no part is part of every reason";
}

TEST_F(Decisions, TheQueueShowsWhatWasDecidedAboutADeliveryThatWaits) {
  const std::int64_t held = Refused(AddLine(*store_, "a"));
  EXPECT_THAT(Good(store_->ListQueue(0, 10)).at(0).decisions, IsEmpty());
  Decide(held, Act::kReleased);
  EXPECT_EQ(Good(store_->ListQueue(0, 10)).at(0).decisions.at(0).by, "op-3");
}

TEST_F(Decisions, AStoreOfTheVersionBeforeGetsTheirTableAndKeepsWhatItHeld) {
  store_->Rollback();
  store_.reset();
  const std::string old = folder_ / "old";
  {
    sqlite3* db = nullptr;
    ASSERT_EQ(sqlite3_open(old.c_str(), &db), SQLITE_OK);
    const DatabaseHandle closer(db);
    Good(Execute(db, ("PRAGMA application_id = " + std::to_string(kApplicationId)).c_str()));
    Good(Migrate(db, 0, MigrationSteps().first(4)));
    Good(Execute(db,
                 "INSERT INTO line VALUES(1, 's', 'l', 1, NULL, '', '{}');"
                 "INSERT INTO bundle VALUES(1, 1, 0, 1, 3, 1, 1, 0, 1, 0, 9, 1, 'refused', '');"
                 "INSERT INTO body VALUES(1, x'000000001000');"
                 "UPDATE counts SET lines = 1, on_hold = 1"));
  }
  store_ = OpenStore(old);
  Good(store_->Begin());
  EXPECT_THAT(Good(store_->OnHold(0, "refused", 9)), ElementsAre(1));
  EXPECT_THAT(Good(store_->DecisionsAbout(1)), IsEmpty());
}

TEST_F(Decisions, WhyABundleWasMadeIsWrittenDownAndTheBundleStaysAsItIs) {
  const std::int64_t line = AddLine(*store_, "a");
  const std::int64_t seq = Ready(line);
  DecisionRecord decision;
  decision.bundle_seq = seq;
  decision.at = At(7000);
  decision.act = Act::kDerivedAgain;
  decision.by = "op-3";
  decision.why = "map of March";
  Good(store_->WriteDown(decision));
  Reopen();
  EXPECT_EQ(StateOf(seq), DeliveryState::kReady);
  const auto kept = Good(store_->DecisionsAbout(seq));
  ASSERT_EQ(kept.size(), 1u);
  EXPECT_EQ(ActName(kept[0].act), "derived-again");
  EXPECT_EQ(kept[0].by, "op-3");
  EXPECT_EQ(kept[0].why, "map of March");
  EXPECT_EQ(kept[0].former_why, "");
  EXPECT_THAT(Claim(), ElementsAre(seq));
}

TEST_F(Decisions, ALinesKeptBundlesAreThoseOfItsEventsAndOfTheClockNewestFirst) {
  const std::int64_t line = AddLine(*store_, "a");
  const std::int64_t other = AddLine(*store_, "b");
  const std::int64_t first = Good(store_->AddBundle(Bundle(line, AddEvent(*store_, line, "e1"))));
  Good(store_->AddBundle(Bundle(other, AddEvent(*store_, other, "e2"))));
  const std::int64_t clock = Ready(line);
  Ready(other);
  const std::int64_t late = Good(store_->AddBundle(Bundle(line, AddEvent(*store_, line, "e3"))));
  EXPECT_THAT(Good(store_->KeptBundles(line)), ElementsAre(late, clock, first));
  Good(store_->Settle(Settled(first, DeliveryState::kOnHold)));
  Decide(first, Act::kCancelled);
  EXPECT_THAT(Good(store_->KeptBundles(line)), ElementsAre(late, clock));
}

}  // namespace
}  // namespace dwell::store
