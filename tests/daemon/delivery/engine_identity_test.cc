// By what an endpoint knows our resources again: what was begun stays, over restarts too, because
// by another identity it would hold every living line twice.
#include <gmock/gmock.h>

#include "tests/daemon/delivery/engine_fixture.h"

namespace dwell::delivery {
namespace {

constexpr Identity kOurs = Identity::kUpdateAsCreate;
constexpr Identity kTheirs = Identity::kConditionalUpdate;

class IdentityTest : public EngineTest {
 protected:
  /// A new process; the store keeps what the one before told it.
  void Start(Pins pins = {}) {
    engine_ = Engine({.in_flight_max = 4,
                      .backoff = {.first = seconds(1), .most = seconds(9)},
                      .pins = pins,
                      .reads_statement = true,
                      .in_use = stored_});
  }
  /// Whether it takes ids of ours, and, if not, conditions.
  void Told(bool takes_ours) {
    TypeCapability type;
    type.type = "Observation";
    type.update_create = takes_ours;
    type.conditional_update = !takes_ours;
    Statement statement;
    statement.is_told = true;
    statement.capability.emplace();
    statement.capability->is_server = true;
    statement.capability->types.push_back(type);
    engine_.Told(statement, now_);
  }
  void Read(bool takes_ours) {
    EXPECT_TRUE(Decide().read_statement);
    Told(takes_ours);
  }
  /// Whatever is due; the store keeps what it is told unless it `fails`.
  std::vector<Sending> Go(std::vector<store::BundleRecord> claimed = {}, bool fails = false) {
    engine_.News();
    Orders orders = Decide();
    if (orders.gather) {
      engine_.Gathered();
      orders = Decide();
    }
    if (!orders.visit) return std::move(orders.sendings);
    if (fails) {
      engine_.VisitFailed(std::move(*orders.visit), now_);
      return {};
    }
    if (orders.visit->holding) stored_ = orders.visit->holding->identity;
    engine_.Visited(std::move(claimed), std::nullopt, now_);
    return Decide().sendings;
  }

  std::optional<Identity> stored_;
};

TEST_F(IdentityTest, WhatLandedOrMayHaveStaysOverARestartAndWhatDidNotBindsNobody) {
  Verdict lost = Strained();
  lost.uncertain = true;
  Verdict refused;
  refused.course = Course::kHold;
  refused.why = "refused";
  struct Row {
    const char* what;
    std::optional<Verdict> verdict;  ///< of the first; empty: the process dies before it
    std::optional<Identity> kept;
  };
  const std::vector<Row> rows = {
      {"taken", Done(), kOurs},
      {"the answer got lost", lost, kOurs},
      {"the process dies while it is on its way", std::nullopt, kOurs},
      {"refused", refused, std::nullopt},
      {"the endpoint was down", Down(), std::nullopt},
  };
  for (const Row& row : rows) {
    stored_.reset();
    Start();
    Read(true);
    const std::vector<Sending> sendings = Go(Bundles(1, 1));
    ASSERT_EQ(sendings.size(), 1U) << row.what;
    EXPECT_EQ(sendings[0].style.identity, kOurs);
    EXPECT_EQ(stored_, kOurs) << row.what << ": told before it goes out";
    if (row.verdict) {
      Ended(sendings[0], *row.verdict);
      engine_.Drain(now_, seconds(1));
      Go();
    }
    EXPECT_EQ(stored_, row.kept) << row.what;
    Start();
    Read(false);
    EXPECT_EQ(engine_.style().identity, row.kept.value_or(kTheirs)) << row.what;
    EXPECT_EQ(engine_.style().is_doubted, row.kept.has_value()) << row.what;
  }
}

TEST_F(IdentityTest, IsTheSameBeforeAndWithoutAStatementAfterARestart) {
  stored_ = kTheirs;
  Start();
  EXPECT_EQ(engine_.style().identity, kTheirs);
  EXPECT_TRUE(Decide().read_statement);
  engine_.Told({}, now_);
  EXPECT_EQ(engine_.style().identity, kTheirs);
  Pass(limits::kStatementEvery);
  Read(true);
  EXPECT_EQ(engine_.style().identity, kTheirs) << "nothing speaks for it any more";
}

TEST_F(IdentityTest, StaysWhileSomethingIsOnItsWay) {
  Start();
  EXPECT_TRUE(Decide().read_statement);
  engine_.Told({}, now_);
  const std::vector<Sending> sendings = Go(Bundles(1, 1));
  Pass(limits::kStatementEvery);
  Read(false);
  EXPECT_EQ(engine_.style().identity, kOurs) << "it may arrive yet";
  Ended(sendings.at(0), Down());
  Go();
  EXPECT_EQ(stored_, std::nullopt);
  Pass(limits::kStatementEvery);
  Read(false);
  EXPECT_EQ(engine_.style().identity, kTheirs);
}

TEST_F(IdentityTest, AVisitThatFailedIsMadeGoodByTheNext) {
  Start();
  Read(false);
  EXPECT_TRUE(Go(Bundles(1, 1), true).empty());
  EXPECT_EQ(stored_, std::nullopt);
  Pass(seconds(1));
  EXPECT_EQ(Go(Bundles(1, 1)).size(), 1U);
  EXPECT_EQ(stored_, kTheirs);
}

TEST_F(IdentityTest, IsToldOnceAndNotWithEveryVisit) {
  Start();
  Read(true);
  Ended(Go(Bundles(1, 1)).at(0), Done());
  const Orders orders = Decide();
  ASSERT_TRUE(orders.visit);
  EXPECT_FALSE(orders.visit->holding);
}

TEST_F(IdentityTest, APinThatSaysOtherwiseIsHeededAndKeptOnceSomethingLandedSo) {
  stored_ = kOurs;
  Pins pins;
  pins.identity = kTheirs;
  Start(pins);
  Read(true);
  const std::vector<Sending> sendings = Go(Bundles(1, 1));
  EXPECT_EQ(sendings.at(0).style.identity, kTheirs);
  EXPECT_EQ(stored_, kTheirs);
  Ended(sendings[0], Done());
  Start();
  Read(true);
  EXPECT_EQ(engine_.style().identity, kTheirs);
}

}  // namespace
}  // namespace dwell::delivery
