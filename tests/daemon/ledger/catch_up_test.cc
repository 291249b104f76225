// What time alone changes: told once, however long nobody looked.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using namespace test;  // NOLINT: the words of this test

using CatchUpTest = LedgerRig;

Instant NextOf(Result<std::optional<Instant>> next) {
  if (next.has_error() || !next.value()) {
    ADD_FAILURE() << "nothing will change";
    return {};
  }
  return *next.value();
}

TEST_F(CatchUpTest, NothingDueGivesNoBundleAndTheNextInstant) {
  Open();
  EXPECT_EQ(CatchUp().value(), std::nullopt);
  Store(Insertion("e1", 0));
  Deliver();
  news_ = 0;
  // The next round is at 14:00 UTC (London has winter time), due-soon one hour before.
  EXPECT_EQ(NextOf(CatchUp()), Hour(4));
  EXPECT_THAT(Deliver(), IsEmpty());
  EXPECT_EQ(news_, 0);
}

TEST_F(CatchUpTest, EachStageIsToldAtItsInstantAndNotBefore) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  struct Row {
    double hours;
    const char* stage;
  };
  // Policy: due soon 60 minutes before, overdue 30 minutes after the round at 14:00.
  for (const Row& row : {Row{4, "due-soon"}, Row{5, "due"}, Row{5.5, "overdue"}}) {
    clock_.Set(Hour(row.hours) - std::chrono::milliseconds(1));
    EXPECT_EQ(NextOf(CatchUp()), Hour(row.hours));
    EXPECT_THAT(Deliver(), IsEmpty()) << row.stage;
    clock_.Set(Hour(row.hours));
    news_ = 0;
    CatchUp().has_value();
    const auto bodies = Deliver();
    ASSERT_EQ(bodies.size(), 1u) << row.stage;
    EXPECT_THAT(bodies[0], HasSubstr("\"" + std::string(row.stage) + "\""));
    EXPECT_EQ(news_, 1);
    CatchUp().has_value();
    EXPECT_THAT(Deliver(), IsEmpty()) << "told twice";
  }
}

TEST_F(CatchUpTest, WhatFellDueWhileTheDaemonWasDownIsToldOnceAfterTheStart) {
  Open();
  Store(Insertion("e1", 0));
  Store(Insertion("e2", 0, "line-2"));
  Deliver();
  Close();
  clock_.Set(Hour(100));  // past the 72 h limit and twelve rounds
  Open();
  const auto next = CatchUp();
  ASSERT_TRUE(next.has_value());
  const auto bodies = Deliver();
  ASSERT_EQ(bodies.size(), 2u);  // one bundle a line
  for (const std::string& body : bodies) EXPECT_THAT(body, HasSubstr("\"overdue\""));
  Reopen();
  CatchUp().has_value();
  EXPECT_THAT(Deliver(), IsEmpty());
}

TEST_F(CatchUpTest, ManyLinesAreLookedAtInSeveralTransactions) {
  Open();
  constexpr std::size_t kLines = 2 * limits::kCatchUpLinesMax + 50;
  std::vector<std::string> raws;
  for (std::size_t i = 0; i < kLines; ++i) {
    const std::string number = std::to_string(i);
    raws.push_back(Raw(Insertion("e" + number, 0, "line-" + number)));
  }
  for (const Receipt& receipt : SendAll(raws)) ASSERT_EQ(receipt.answer, Answer::kStored);
  Deliver();
  news_ = 0;
  clock_.Set(Hour(5.5));
  EXPECT_GT(NextOf(CatchUp()), Hour(5.5));
  EXPECT_EQ(Deliver().size(), kLines);
  EXPECT_EQ(news_, 3);
}

TEST_F(CatchUpTest, AFailureIsToldAndTheNextTryTellsEverything) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  clock_.Set(Hour(5.5));
  std::promise<void> release;
  std::promise<void> entered;
  writer_->Post({[&](store::Store&) -> Result<void> {
                   entered.set_value();
                   release.get_future().wait();
                   return {};
                 },
                 nullptr});
  entered.get_future().wait();
  std::promise<bool> failed;
  ledger_->CatchUp(
      [&](Result<std::optional<Instant>> next) { failed.set_value(next.has_error()); });
  writer_->Post(
      {[](store::Store&) -> Result<void> { return Error(ErrorKind::kFull, "full"); }, nullptr});
  release.set_value();
  EXPECT_TRUE(failed.get_future().get());
  EXPECT_THAT(Deliver(), IsEmpty());
  ASSERT_TRUE(CatchUp().has_value());
  EXPECT_EQ(Deliver().size(), 1u);
}

TEST_F(CatchUpTest, WhatWasToldTooEarlyIsPutRightOnceTheClockIsSetBack) {
  for (const bool reopen : {false, true}) {
    path_ = folder_ / (reopen ? "reopened" : "running");
    Open();
    Store(Insertion("e1", 0));
    Deliver();
    clock_.Set(Hour(24 * 365));
    ASSERT_TRUE(CatchUp().has_value());
    const auto early = Deliver();
    ASSERT_EQ(early.size(), 1u);
    ASSERT_THAT(early[0], HasSubstr("\"overdue\""));
    if (reopen) Reopen();
    clock_.Set(Hour(1));
    const auto next = CatchUp();
    ASSERT_TRUE(next.has_value());
    const auto right = Deliver();
    ASSERT_EQ(right.size(), 1u);
    EXPECT_THAT(right[0], Not(HasSubstr("\"overdue\"")));
    EXPECT_THAT(right[0], HasSubstr("program or clock"));
    EXPECT_EQ(NextOf(next), Hour(4)) << "the line is looked at in time again";
    ASSERT_TRUE(CatchUp().has_value());
    EXPECT_THAT(Deliver(), IsEmpty()) << "once is enough";
    Close();
  }
}

}  // namespace
}  // namespace dwell::ledger
