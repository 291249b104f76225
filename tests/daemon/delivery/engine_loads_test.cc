// Loads that share a request, what is learned from refusals, and the reading of the statement:
// decided by the engine alone.
#include <gmock/gmock.h>

#include <map>

#include "tests/daemon/delivery/engine_fixture.h"

namespace dwell::delivery {
namespace {

using testing::ElementsAre;
using testing::SizeIs;

class LoadsTest : public EngineTest {
 protected:
  void Share(std::size_t most, std::size_t senders) {
    Pins pins;
    pins.share_max = most;
    engine_ = Engine({.in_flight_max = senders,
                      .backoff = {.first = seconds(1), .most = seconds(9)},
                      .pins = pins});
  }
  static std::vector<std::size_t> SharesOf(const Orders& orders) {
    std::vector<std::size_t> shares;
    for (const Sending& sending : orders.sendings) shares.push_back(sending.bundles.size());
    return shares;
  }
  /// Refused in company, nothing said of any of them.
  static Verdict Apart(bool too_large) {
    Verdict verdict;
    verdict.course = Course::kWait;
    verdict.apart = true;
    verdict.too_large = too_large;
    verdict.why = "refused in company";
    return verdict;
  }
  void EndedTooLarge(const Sending& sending) {
    Outcome outcome;
    outcome.verdicts.assign(sending.bundles.size(), Apart(true));
    outcome.entries = sending.bundles.size() * 2;
    outcome.sign = SignOf(outcome.verdicts);
    engine_.Ended(sending, outcome, now_, ++random_);
  }
  /// The settlements of the visit that is due.
  std::vector<store::Settlement> Settlements() {
    engine_.Gathered();
    const Orders orders = Decide();
    return orders.visit ? orders.visit->settlements : std::vector<store::Settlement>();
  }
};

TEST_F(LoadsTest, NobodyWaitsForCompanyAndSendersAreFilledBeforeLoadsAre) {
  struct Row {
    std::size_t waiting;
    std::vector<std::size_t> shares;
  };
  for (const Row& row : std::vector<Row>{{1, {1}},
                                         {4, {1, 1, 1, 1}},
                                         {7, {1, 1, 1, 1}},
                                         {8, {2, 1, 1, 1}},
                                         {100, {10, 10, 10, 10}}}) {
    Share(10, 4);
    Visited(Bundles(1, row.waiting));
    EXPECT_EQ(SharesOf(Decide()), row.shares) << row.waiting;
  }
}

TEST_F(LoadsTest, WithoutLeaveNothingIsShared) {
  Visited(Bundles(1, 100));
  EXPECT_THAT(SharesOf(Decide()), ElementsAre(1, 1, 1, 1));
}

TEST_F(LoadsTest, ALoadIsBoundedByEntriesAndBytes) {
  Share(1'000, 1);
  std::vector<store::BundleRecord> bundles = Bundles(1, 30);
  for (store::BundleRecord& bundle : bundles) bundle.entries = 100;
  Visited(std::move(bundles));
  EXPECT_THAT(SharesOf(Decide()), ElementsAre(limits::kShareEntriesMax / 100));
  Share(1'000, 1);
  bundles = Bundles(1, 30);
  for (store::BundleRecord& bundle : bundles) bundle.body.resize(limits::kShareBytesMax / 3);
  Visited(std::move(bundles));
  EXPECT_THAT(SharesOf(Decide()), ElementsAre(3));
}

TEST_F(LoadsTest, OnlyWhatWasNeverTriedIsShared) {
  Share(10, 1);
  std::vector<store::BundleRecord> bundles = Bundles(1, 20);
  bundles[3].attempts = 1;
  bundles[4].uncertain = true;
  Visited(std::move(bundles));
  std::vector<std::size_t> shares;
  for (int i = 0; i < 4; ++i) {
    const Orders orders = Decide();
    ASSERT_THAT(orders.sendings, SizeIs(1));
    shares.push_back(orders.sendings[0].bundles.size());
    Ended(orders.sendings[0], Done());
  }
  EXPECT_THAT(shares, ElementsAre(3, 1, 1, 10));
}

TEST_F(LoadsTest, WhatWasRefusedInCompanyGoesAgainAtOnceEachByItselfAndNothingCounts) {
  Share(10, 1);
  Visited(Bundles(1, 20));
  Ended(Decide().sendings.at(0), Apart(false));
  Orders orders = Decide();
  ASSERT_TRUE(orders.visit);
  ASSERT_THAT(orders.visit->settlements, SizeIs(10));
  for (const store::Settlement& settlement : orders.visit->settlements) {
    EXPECT_EQ(settlement.state, store::DeliveryState::kReady);
    EXPECT_FALSE(settlement.counts);
    EXPECT_EQ(settlement.not_before, Instant{});
  }
  Ended(orders.sendings.at(0), Done());
  engine_.Visited(Bundles(1, 30), std::nullopt, now_);
  for (int i = 0; i < 10; ++i) {
    orders = Decide();
    ASSERT_THAT(SharesOf(orders), ElementsAre(1)) << i;
    Ended(orders.sendings[0], Done());
  }
  EXPECT_THAT(SharesOf(Decide()), ElementsAre(10)) << "the others never were refused";
}

TEST_F(LoadsTest, AnAnswerLostInCompanyUsesUpNobodysAttempts) {
  Share(10, 1);
  Visited(Bundles(1, 10));
  Verdict lost;
  lost.course = Course::kAgain;
  lost.uncertain = true;
  const Orders orders = Decide();
  ASSERT_THAT(SharesOf(orders), ElementsAre(10));
  Ended(orders.sendings[0], lost);
  const auto settlements = Settlements();
  ASSERT_THAT(settlements, SizeIs(10));
  for (const store::Settlement& settlement : settlements) {
    EXPECT_FALSE(settlement.counts);
    EXPECT_TRUE(settlement.uncertain);
    EXPECT_GT(settlement.not_before, now_.wall);
  }
}

TEST_F(LoadsTest, ALimitIsLearnedByHalvesAndTriedAgainOnceADay) {
  Share(100, 1);
  Visited(Bundles(1, 132));
  Orders orders = Decide();
  ASSERT_THAT(SharesOf(orders), ElementsAre(100));
  EndedTooLarge(orders.sendings[0]);  // 200 entries
  EXPECT_EQ(engine_.style().entries_max, 100U);
  EXPECT_EQ(engine_.progress().entries_max, 100U);
  orders = Decide();
  ASSERT_THAT(SharesOf(orders), ElementsAre(32));
  EndedTooLarge(orders.sendings[0]);  // 64 entries
  EXPECT_EQ(engine_.style().entries_max, 32U);
  for (const store::Settlement& settlement : Settlements()) {
    EXPECT_FALSE(settlement.counts);
    EXPECT_EQ(settlement.not_before, Instant{});
  }
  engine_.Visited(Bundles(1, 132), std::nullopt, now_);
  orders = Decide();
  EXPECT_THAT(SharesOf(orders), ElementsAre(16)) << "they may share again, in smaller loads";
  Ended(orders.sendings[0], Done());
  Pass(limits::kShareRegrowAfter - seconds(1));
  Decide();
  EXPECT_EQ(engine_.style().entries_max, 32U);
  for (const std::size_t grown : {64U, 128U, 256U, 500U, 500U}) {
    Pass(limits::kShareRegrowAfter);
    Decide();
    EXPECT_EQ(engine_.style().entries_max, grown);
  }
}

/// A store of as many lanes with one bundle each, and an endpoint that refuses one of them.
class PoisonTest : public LoadsTest {
 protected:
  static constexpr std::int64_t kBundles = 1'000, kPoison = 437;

  struct Row {
    store::BundleRecord bundle;
    store::DeliveryState state = store::DeliveryState::kReady;
  };

  void Fill() {
    for (store::BundleRecord& bundle : Bundles(1, kBundles)) {
      const std::int64_t seq = bundle.seq;
      rows_[seq].bundle = std::move(bundle);
    }
  }

  void Visit(const Visit& visit) {
    for (const store::Settlement& settlement : visit.settlements) {
      Row& row = rows_.at(settlement.bundle_seq);
      ASSERT_EQ(row.state, store::DeliveryState::kInProgress);
      row.state = settlement.state;
      row.bundle.not_before = settlement.not_before;
      row.bundle.uncertain = settlement.uncertain;
      if (settlement.counts) ++row.bundle.attempts;
    }
    std::vector<store::BundleRecord> claimed;
    for (auto& [seq, row] : rows_) {
      if (claimed.size() >= visit.wanted) break;
      if (row.state != store::DeliveryState::kReady || row.bundle.not_before > visit.now) continue;
      row.state = store::DeliveryState::kInProgress;
      claimed.push_back(row.bundle);
    }
    engine_.Visited(std::move(claimed), std::nullopt, now_);
  }

  void Carry(const Sending& sending) {
    ++requests_;
    bool is_poisoned = false;
    for (const store::BundleRecord& bundle : sending.bundles) {
      is_poisoned = is_poisoned || bundle.seq == kPoison;
    }
    Verdict held;
    held.course = Course::kHold;
    const bool in_company = sending.bundles.size() > 1;
    Ended(sending, !is_poisoned ? Done() : in_company ? Apart(false) : held);
  }

  void RunUntilQuiet() {
    for (bool is_quiet = false; !is_quiet;) {
      const Orders orders = Decide();
      is_quiet = !orders.visit && orders.sendings.empty() && !orders.gather;
      for (const Sending& sending : orders.sendings) Carry(sending);
      if (orders.gather) engine_.Gathered();
      if (orders.visit) Visit(*orders.visit);
    }
  }

  std::map<std::int64_t, Row> rows_;
  std::size_t requests_ = 0;
};

TEST_F(PoisonTest, OneAmongAThousandCostsTheOthersNothing) {
  for (const std::size_t most : {1U, 10U, 50U}) {
    Share(most, 16);
    Fill();
    requests_ = 0;
    RunUntilQuiet();
    std::int64_t completed = 0;
    for (const auto& [seq, row] : rows_) {
      const bool is_poison = seq == kPoison;
      completed += row.state == store::DeliveryState::kCompleted ? 1 : 0;
      EXPECT_EQ(row.state == store::DeliveryState::kOnHold, is_poison) << seq;
      EXPECT_EQ(row.bundle.attempts, 1U) << seq;
    }
    EXPECT_EQ(completed, kBundles - 1);
    // At most one load is refused, and its bundles go again each by itself.
    EXPECT_LE(requests_, static_cast<std::size_t>(kBundles) + 1);
    if (most > 1) {
      EXPECT_LT(requests_, kBundles / 3);
    }
    rows_.clear();
  }
}

class StatementTest : public EngineTest {
 protected:
  StatementTest() {
    engine_ = Engine({.in_flight_max = 4,
                      .backoff = {.first = seconds(1), .most = seconds(9)},
                      .reads_statement = true});
  }
  void Told(const char* interaction) {
    Statement statement;
    statement.is_told = true;
    statement.capability.emplace();
    statement.capability->is_server = true;
    statement.capability->interactions = {interaction};
    engine_.Told(statement, now_);
  }
};

TEST_F(StatementTest, IsReadBeforeAnythingIsSent) {
  Orders orders = Decide();
  EXPECT_TRUE(orders.read_statement);
  EXPECT_FALSE(orders.visit);
  orders = Decide();
  EXPECT_FALSE(orders.read_statement) << "once";
  Told("batch");
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  engine_.Visited(Bundles(1, 1), std::nullopt, now_);
  orders = Decide();
  ASSERT_THAT(orders.sendings, SizeIs(1));
  EXPECT_EQ(orders.sendings[0].style.interaction, Interaction::kBatch);
  EXPECT_THAT(engine_.progress().writes, testing::HasSubstr("batch"));
}

TEST_F(StatementTest, ThatCannotBeReadKeepsNothingWaiting) {
  EXPECT_TRUE(Decide().read_statement);
  engine_.Told({}, now_);
  const Orders orders = Decide();
  EXPECT_TRUE(orders.visit);
  EXPECT_EQ(engine_.style().interaction, Interaction::kTransaction);
}

TEST_F(StatementTest, IsReadEveryHourBesideTheDeliveriesAndAFailedReadingChangesNothing) {
  EXPECT_TRUE(Decide().read_statement);
  Told("batch");
  Visited(Bundles(9, 1));
  Ended(Decide().sendings.at(0), Done());
  Visited({});
  Orders orders = Decide();
  EXPECT_EQ(orders.bell, now_.steady + std::chrono::hours(1));
  Pass(std::chrono::hours(1));
  engine_.News();
  orders = Decide();
  EXPECT_TRUE(orders.read_statement);
  EXPECT_TRUE(orders.visit) << "nothing waits for it";
  engine_.Visited(Bundles(1, 1), std::nullopt, now_);
  EXPECT_THAT(Decide().sendings, SizeIs(1));
  engine_.Told({}, now_);
  EXPECT_EQ(engine_.style().interaction, Interaction::kBatch);
}

TEST_F(StatementTest, IsReadAgainAfterAnOutageAndFirstWhenItNeverWasRead) {
  EXPECT_TRUE(Decide().read_statement);
  engine_.Told({}, now_);
  Pause();
  Orders orders = Decide();
  EXPECT_TRUE(orders.read_statement);
  EXPECT_FALSE(orders.visit);
  Told("transaction");
  orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_EQ(orders.visit->wanted, 1U);
  engine_.Visited(Bundles(1, 1), std::nullopt, now_);
  Ended(Decide().sendings.at(0), Done());
  Visited({});
  EXPECT_FALSE(Decide().visit);

  Pass(limits::kStatementRest);
  engine_.News();
  Pause();
  Pass(seconds(9));
  orders = Decide();
  EXPECT_TRUE(orders.read_statement);
  EXPECT_TRUE(orders.visit) << "it is known already";
}

TEST_F(StatementTest, IsNotReadAnewAfterEachShortPause) {
  EXPECT_TRUE(Decide().read_statement);
  Told("transaction");
  Pause();
  EXPECT_FALSE(Decide().read_statement);
}

TEST_F(StatementTest, ADrainWaitsForTheReadingToEnd) {
  EXPECT_TRUE(Decide().read_statement);
  engine_.Drain(now_, seconds(20));
  EXPECT_FALSE(Decide().finished);
  engine_.Told({}, now_);
  EXPECT_TRUE(Decide().finished);
}

TEST_F(StatementTest, IsNotReadWhenThePinsLeaveNoChoice) {
  Pins pins;
  pins.interaction = Interaction::kSingle;
  pins.identity = Identity::kUpdateAsCreate;
  engine_ = Engine({.backoff = {}, .pins = pins, .reads_statement = true});
  const Orders orders = Decide();
  EXPECT_FALSE(orders.read_statement);
  EXPECT_TRUE(orders.visit);
  EXPECT_EQ(engine_.style().interaction, Interaction::kSingle);
}

}  // namespace
}  // namespace dwell::delivery
