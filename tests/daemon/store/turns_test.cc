// Wards take turns, endpoints do not touch each other, and older files keep their lanes.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <algorithm>

#include "daemon/store/connection.h"
#include "daemon/store/migrations.h"
#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

class Turns : public testing::Test {
 protected:
  Turns() : store_(OpenStore(folder_ / "store")) { Good(store_->Begin()); }

  void Reopen() {
    Good(store_->Commit());
    store_.reset();
    store_ = OpenStore(folder_ / "store");
    Good(store_->Begin());
  }
  std::int64_t Ward(const std::string& name) { return Good(store_->WardNumber(name)); }
  /// A bundle in a lane of its own.
  std::int64_t Add(std::int64_t ward, std::int64_t endpoint = 0) {
    return AddTo(AddLine(*store_, "line-" + std::to_string(++lines_)), ward, endpoint);
  }
  std::int64_t AddTo(std::int64_t line, std::int64_t ward, std::int64_t endpoint = 0,
                     DeliveryState state = DeliveryState::kReady) {
    BundleRecord bundle = Bundle(line, 0, state);
    bundle.ward = ward;
    bundle.endpoint = endpoint;
    return Good(store_->AddBundle(bundle));
  }
  std::vector<std::int64_t> Claim(std::size_t max, std::int64_t endpoint = 0,
                                  std::int64_t now_ms = 5000) {
    return Seqs(Good(store_->Claim(endpoint, At(now_ms), max)));
  }
  void Decide(std::int64_t seq, Act act) {
    DecisionRecord decision;
    decision.bundle_seq = seq;
    decision.act = act;
    decision.by = "op-3";
    decision.why = "put right";
    Good(store_->Decide(decision));
  }
  void Wait(std::int64_t seq, std::int64_t until_ms) {
    Settlement again = Settled(seq, DeliveryState::kReady);
    again.not_before = At(until_ms);
    Good(store_->Settle(again));
  }

  test::TempFolder folder_;
  std::unique_ptr<Store> store_;
  int lines_ = 0;
};

TEST_F(Turns, ALongQueueOfOneWardDoesNotStandBeforeAnothersOneBundle) {
  const std::int64_t busy = Ward("Ward 4");
  for (int i = 0; i < 10'000; ++i) Add(busy);
  const std::int64_t other = Add(Ward("Ward 7"));
  EXPECT_THAT(Claim(4), testing::Contains(other));
}

TEST_F(Turns, EveryWardHasItsTurnHoweverLittleIsAskedFor) {
  std::vector<std::int64_t> firsts;
  for (int ward = 0; ward < 300; ++ward) {
    const std::int64_t number = Ward("Ward " + std::to_string(ward));
    firsts.push_back(Add(number));
    Add(number);
  }
  std::vector<std::int64_t> claimed;
  for (int i = 0; i < 300; ++i) {
    const auto one = Claim(1);
    ASSERT_EQ(one.size(), 1u);
    claimed.push_back(one[0]);
  }
  EXPECT_EQ(claimed, firsts);
}

TEST_F(Turns, AWardGivesOneThenTwoThenFourAndItsOldestFirst) {
  const std::int64_t a = Ward("a");
  const std::int64_t b = Ward("b");
  std::vector<std::int64_t> of_a;
  std::vector<std::int64_t> of_b;
  for (int i = 0; i < 5; ++i) of_a.push_back(Add(a));
  for (int i = 0; i < 5; ++i) of_b.push_back(Add(b));
  EXPECT_THAT(Claim(9), ElementsAre(of_a[0], of_b[0], of_a[1], of_a[2], of_b[1], of_b[2], of_a[3],
                                    of_a[4], of_b[3]));
  EXPECT_THAT(Claim(9), ElementsAre(of_b[4]));
}

TEST_F(Turns, WhatIsAskedForIsGivenAsLongAsAnyWardHasIt) {
  for (int ward = 0; ward < 5; ++ward) {
    for (int i = 0; i <= ward * 20; ++i) Add(Ward("Ward " + std::to_string(ward)));
  }
  EXPECT_EQ(Claim(100).size(), 100u);
  EXPECT_EQ(Claim(200).size(), 105u);
  EXPECT_THAT(Claim(1), IsEmpty());
}

TEST_F(Turns, ToEndTheWaitsOfOneEndpointLeavesThoseOfAnother) {
  const std::int64_t other = Good(store_->EndpointNumber("research"));
  const std::int64_t here = Add(Ward("a"));
  const std::int64_t there = Add(Ward("a"), other);
  ASSERT_EQ(Claim(1).size(), 1u);
  ASSERT_EQ(Claim(1, other).size(), 1u);
  Wait(here, 20'000);
  Wait(there, 20'000);
  Good(store_->EndWaitsBy(0, At(8000)));
  EXPECT_EQ(Good(store_->NextReady(0)), At(8000));
  EXPECT_EQ(Good(store_->NextReady(other)), At(20'000));
}

TEST_F(Turns, TheNextReadyIsTheEarliestOfAllWardsOfThatEndpoint) {
  const std::int64_t other = Good(store_->EndpointNumber("research"));
  const std::int64_t late = Add(Ward("a"));
  const std::int64_t early = Add(Ward("b"));
  const std::int64_t elsewhere = Add(Ward("c"), other);
  ASSERT_EQ(Claim(2).size(), 2u);
  ASSERT_EQ(Claim(2, other).size(), 1u);
  Wait(late, 8000);
  Wait(early, 7000);
  Wait(elsewhere, 6000);
  EXPECT_EQ(Good(store_->NextReady(0)), At(7000));
  EXPECT_EQ(Good(store_->NextReady(other)), At(6000));
}

TEST_F(Turns, ALineHasALaneAtEachEndpoint) {
  const std::int64_t other = Good(store_->EndpointNumber("research"));
  const std::int64_t line = AddLine(*store_, "a");
  const std::int64_t main_first = AddTo(line, 0);
  const std::int64_t other_first = AddTo(line, 0, other);
  const std::int64_t main_second = AddTo(line, 0);
  const std::int64_t other_second = AddTo(line, 0, other);
  EXPECT_THAT(Claim(9), ElementsAre(main_first));
  EXPECT_THAT(Claim(9, other), ElementsAre(other_first));
  Good(store_->Settle(Settled(main_first, DeliveryState::kOnHold)));
  Good(store_->Settle(Settled(other_first, DeliveryState::kCompleted)));
  EXPECT_THAT(Claim(9), IsEmpty());
  EXPECT_THAT(Claim(9, other), ElementsAre(other_second));
  EXPECT_THAT(Seqs(Good(store_->OpenOfLine(line))),
              ElementsAre(main_first, main_second, other_second));
  Decide(main_first, Act::kCancelled);
  EXPECT_THAT(Claim(9), ElementsAre(main_second));
  const auto rows = Good(store_->ListQueue(0, 9));
  ASSERT_EQ(rows.size(), 2u);
  EXPECT_EQ(rows[0].endpoint, 0);
  EXPECT_EQ(rows[1].endpoint, other);
}

TEST_F(Turns, NamesKeepTheirNumbersAndEndpointsTheirCounts) {
  const std::int64_t ward = Ward("Ward 4");
  const std::int64_t other = Good(store_->EndpointNumber("research"));
  EXPECT_EQ(Good(store_->EndpointNumber("main")), 0);
  EXPECT_GT(other, 0);
  Add(ward);
  Add(ward, other);
  Add(ward, other);
  Claim(1, other);
  Reopen();  // what was in progress is ready again
  EXPECT_EQ(Ward("Ward 4"), ward);
  EXPECT_EQ(Good(store_->EndpointNumber("research")), other);
  const auto& endpoints = store_->endpoints();
  ASSERT_EQ(endpoints.size(), 2u);
  EXPECT_EQ(endpoints[0].name, "main");
  EXPECT_EQ(endpoints[0].ready, 1u);
  EXPECT_EQ(endpoints[1].name, "research");
  EXPECT_EQ(endpoints[1].ready, 2u);
  EXPECT_EQ(endpoints[1].in_progress, 0u);
  EXPECT_EQ(store_->counts().ready, 3u);
}

TEST_F(Turns, NamesGivenInATransactionThatFailedAreGivenAgain) {
  Good(store_->Commit());
  Good(store_->Begin());
  const std::int64_t ward = Ward("Ward 4");
  const std::int64_t other = Good(store_->EndpointNumber("research"));
  Add(ward, other);
  store_->Rollback();
  Good(store_->Begin());
  EXPECT_EQ(store_->endpoints().size(), 1u);
  EXPECT_EQ(Ward("Ward 9"), ward);
  EXPECT_EQ(Good(store_->EndpointNumber("ward-board")), other);
  Reopen();
  EXPECT_EQ(store_->endpoints().at(1).name, "ward-board");
  EXPECT_EQ(store_->endpoints().at(1).ready, 0u);
}

TEST_F(Turns, AnEndpointsIdentityIsKeptOverRestartsWithItsTransactionAndByItself) {
  const std::int64_t other = Good(store_->EndpointNumber("research"));
  Good(store_->KeepIdentity(other, "conditional-update"));
  Good(store_->KeepIdentity(0, "update-as-create"));
  Reopen();
  EXPECT_EQ(store_->endpoints().at(0).identity, "update-as-create");
  EXPECT_EQ(store_->endpoints().at(1).identity, "conditional-update");
  Good(store_->KeepIdentity(0, "conditional-update"));
  store_->Rollback();
  Good(store_->Begin());
  EXPECT_EQ(store_->endpoints().at(0).identity, "update-as-create") << "it was withdrawn";
  Good(store_->KeepIdentity(0, ""));
  Reopen();
  EXPECT_EQ(store_->endpoints().at(0).identity, "");
  EXPECT_EQ(store_->endpoints().at(1).identity, "conditional-update");
}

TEST_F(Turns, WardsBeyondTheLimitShareOneTurn) {
  for (std::size_t i = 0; i < limits::kWardsMax; ++i) {
    EXPECT_GT(Ward("Ward " + std::to_string(i)), 0);
  }
  EXPECT_EQ(Ward("one more"), 0);
  EXPECT_EQ(Ward("Ward 0"), 1);
}

TEST_F(Turns, AnOlderFileKeepsItsLanesInEveryStateAsThoseOfTheMainEndpoint) {
  const std::string old_path = folder_ / "old";
  {
    sqlite3* db = nullptr;
    ASSERT_EQ(sqlite3_open(old_path.c_str(), &db), SQLITE_OK);
    const DatabaseHandle closer(db);
    Good(Execute(db,
                 "PRAGMA page_size = 8192; PRAGMA auto_vacuum = INCREMENTAL;"
                 "PRAGMA application_id = 1685546348"));
    Good(Migrate(db, 0, MigrationSteps().first(7)));
    // Bodies: "ab", as a block of two literals (LZ4 block format). Lines: 1: completed, then ready;
    // 2: in-progress, then ready behind it; 3: on-hold, then ready behind it; 4: cancelled, then
    // ready for later.
    Good(Execute(db,
                 "INSERT INTO line VALUES(1, 's', 'a', 2, NULL, x'', '{}'),"
                 " (2, 's', 'b', 2, NULL, x'', '{}'), (3, 's', 'c', 2, NULL, x'', '{}'),"
                 " (4, 's', 'd', 2, NULL, x'', '{}');"
                 "INSERT INTO bundle VALUES"
                 " (1, 1, 0, 5, 2, 0, 0, 0, 1, 0, 100, 1, '', '', 1),"
                 " (2, 1, 0, 5, 0, 1, 1, 0, 0, 0, NULL, 1, '', '', 1),"
                 " (3, 2, 0, 5, 1, 1, 1, 0, 0, 0, NULL, 1, '', '', 1),"
                 " (4, 2, 0, 5, 0, 1, 0, 0, 0, 0, NULL, 1, '', '', 1),"
                 " (5, 3, 0, 5, 3, 1, 1, 0, 2, 1, 100, 1, 'said no', '{}', 1),"
                 " (6, 3, 0, 5, 0, 1, 0, 0, 0, 0, NULL, 1, '', '', 1),"
                 " (7, 4, 0, 5, 4, 0, 0, 0, 1, 0, 100, 1, '', '', 1),"
                 " (8, 4, 0, 5, 0, 1, 1, 9000, 1, 0, NULL, 1, 'later', '', 1);"
                 "INSERT INTO body SELECT seq, x'02000000206162' FROM bundle;"
                 "UPDATE counts SET lines = 4, ready = 4, in_progress = 1, completed = 1,"
                 " on_hold = 1, cancelled = 1"));
  }
  Good(store_->Commit());
  store_ = OpenStore(old_path);
  Good(store_->Begin());
  EXPECT_EQ(store_->endpoints().at(0).ready, 5u);
  EXPECT_EQ(store_->endpoints().at(0).identity, "") << "nobody knows";
  EXPECT_EQ(store_->endpoints().at(0).on_hold, 1u);
  EXPECT_THAT(Claim(9), ElementsAre(2, 3));
  EXPECT_THAT(Claim(9, 0, 9000), ElementsAre(8));
  for (const std::int64_t seq : {2, 3, 8}) {
    EXPECT_EQ(Good(store_->FindBundle(seq))->uncertain, seq == 3);
    Good(store_->Settle(Settled(seq, DeliveryState::kCompleted)));
  }
  // A new bundle goes behind what waits; its ward has its own turn.
  const std::int64_t added = AddTo(2, Ward("Ward 4"));
  EXPECT_THAT(Claim(9), ElementsAre(4));
  Good(store_->Settle(Settled(4, DeliveryState::kCompleted)));
  EXPECT_THAT(Claim(9), ElementsAre(added));
  EXPECT_THAT(Good(store_->OnHold(0, "", 9)), ElementsAre(5));
  Decide(5, Act::kReleased);
  EXPECT_THAT(Claim(9), ElementsAre(5));
  Good(store_->Settle(Settled(5, DeliveryState::kCompleted)));
  EXPECT_THAT(Claim(9), ElementsAre(6));
}

}  // namespace
}  // namespace dwell::store
