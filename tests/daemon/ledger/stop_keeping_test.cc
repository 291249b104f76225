// Lines that ended long ago leave the store: what a sender, an operator and a restart meet then.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>

#include "tests/daemon/ledger/remapping_rig.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using namespace test;  // NOLINT: the words of this test

constexpr double kLongAfter = 24 * 400;

class StopKeepingTest : public Remapping {
 protected:
  /// One step, with what it ended in.
  StoppedKeeping Step(double until_hours = kLongAfter, const store::QuietLine& after = {}) {
    StoppedKeeping stopped;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  const auto step = ledger_->StopKeeping(store, Hour(until_hours), after);
                  if (step.has_error()) return step.error();
                  stopped = *step;
                  return {};
                }).has_value());
    return stopped;
  }
  /// All steps; how many lines are no longer kept after them.
  std::size_t StopAll(double until_hours = kLongAfter) {
    clock_.Set(Hour(kLongAfter));
    std::size_t lines = 0;
    StoppedKeeping step = Step(until_hours);
    for (; step.looked_at > 0; step = Step(until_hours, step.after)) lines += step.lines;
    return lines;
  }
  /// A line's whole life, delivered.
  void Live(const std::string& line_id = "line-1") {
    Store(Insertion(line_id + "-in", 0, line_id));
    Store(SiteCheck(line_id + "-look", 5, 0, line_id));
    Store(Removal(line_id + "-out", 20, line_id));
    clock_.Set(Hour(100));
    EXPECT_TRUE(CatchUp().has_value());
    Deliver();
  }
  using LedgerRig::Send;
  using Remapping::Send;
  void ExpectRefused(const Sketch& sketch, const std::string& rule = "no-longer-kept") {
    const Receipt receipt = Send(sketch);
    EXPECT_EQ(receipt.answer, Answer::kContradiction) << sketch.id;
    EXPECT_EQ(receipt.contradiction.rule, rule) << sketch.id;
    EXPECT_EQ(receipt.contradiction.event_id, sketch.id);
  }
};

TEST_F(StopKeepingTest, TheSameEventAgainIsAnsweredAsEverAndOtherContentIsAConflict) {
  Open();
  Live();
  const Receipt before = Send(Insertion("line-1-in", 0));
  ASSERT_EQ(before.answer, Answer::kRepeated);
  EXPECT_EQ(StopAll(), 1u);
  for (int start = 0; start < 2; ++start) {
    const Receipt again = Send(Insertion("line-1-in", 0));
    EXPECT_EQ(again.answer, Answer::kRepeated);
    EXPECT_EQ(again.received_at, before.received_at);
    EXPECT_EQ(again.event_seq, before.event_seq);
    EXPECT_EQ(Send(Insertion("line-1-in", 0.5)).answer, Answer::kConflict);
    Reopen();
  }
}

TEST_F(StopKeepingTest, ALateEventIsRefusedByNameAndNeverBeginsANewLife) {
  Open();
  Live();
  EXPECT_EQ(StopAll(), 1u);
  const store::Counts before = Counts();
  for (int start = 0; start < 2; ++start) {
    ExpectRefused(Insertion("second", 24 * 390));
    ExpectRefused(SiteCheck("late-look", 6));
    ExpectRefused(Removal("late-out", 21));
    ExpectRefused(Retraction("undo", 24 * 390, "line-1-in"));
    ExpectRefused(Replacing(Insertion("corrected", 1), "line-1-in"));
    Reopen();
  }
  EXPECT_EQ(Send(SiteCheck("late-look", 6)).contradiction.pointer, "/line_id");
  EXPECT_THAT(Send(SiteCheck("late-look", 6)).contradiction.expected,
              HasSubstr(FormatInstant(Hour(kLongAfter))));
  EXPECT_EQ(Counts().events, before.events);
  EXPECT_EQ(Counts().lines, before.lines);
  EXPECT_EQ(Counts().ready, 0u);
}

TEST_F(StopKeepingTest, AnEventOfAnotherLineCannotCorrectWhatIsNoLongerKept) {
  Open();
  Live();
  EXPECT_EQ(StopAll(), 1u);
  ExpectRefused(Replacing(Insertion("elsewhere", 24 * 390, "line-2"), "line-1-in"), "other-line");
  EXPECT_EQ(Send(Insertion("fresh", 24 * 390, "line-2")).answer, Answer::kStored);
}

TEST_F(StopKeepingTest, WhatIsInUseDueOrNotDeliveredStaysHoweverOldItIs) {
  Open();
  Store(Insertion("in-use", 0, "in-use"));
  Store(SiteCheck("look", 1, 0, "no-insertion"));
  clock_.Set(Hour(100));
  EXPECT_TRUE(CatchUp().has_value());
  Deliver();
  Store(Insertion("a", 0, "not-sent"));
  Store(Removal("b", 1, "not-sent"));
  clock_.Set(Hour(100));
  EXPECT_TRUE(CatchUp().has_value());
  EXPECT_EQ(StopAll(), 0u);
  EXPECT_EQ(Send(SiteCheck("late", 0.5, 0, "not-sent")).answer, Answer::kStored);
  Deliver();
  EXPECT_EQ(StopAll(kLongAfter - 1), 0u) << "an event came in just now";
}

TEST_F(StopKeepingTest, ALineThatWaitsForAnEventWhichItNamesStays) {
  Open();
  Live();
  Store(Retraction("undo", 22, "never-came"));
  Deliver();
  EXPECT_EQ(StopAll(), 0u);
}

TEST_F(StopKeepingTest, WhatAPersonGaveUpIsKeptUntilItIsSentAfterAll) {
  Open();
  Store(Insertion("in", 0));
  Store(Removal("out", 20));
  Deliver();
  Store(SiteCheck("watch", 68));
  HoldAll();
  Order order;
  order.act = store::Act::kCancelled;
  order.all_of = "refused";
  order.by = "op-3";
  order.why = "by hand";
  std::promise<std::size_t> told;
  ledger_->Decide(std::move(order), [&told](const Result<Ruling>& ruling) {
    told.set_value(ruling->decided.size());
  });
  EXPECT_EQ(told.get_future().get(), 1u);
  EXPECT_EQ(StopAll(), 0u);
  Send();
  Deliver();
  EXPECT_EQ(StopAll(), 1u);
}

TEST_F(StopKeepingTest, AStepThatWasWithdrawnLeavesTheLineInUse) {
  Open();
  Live();
  clock_.Set(Hour(kLongAfter));
  EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                EXPECT_EQ(ledger_->StopKeeping(store, Hour(kLongAfter), {})->lines, 1u);
                return Error(ErrorKind::kFull, "full");
              }).has_error());
  EXPECT_EQ(Send(Retraction("undo", 30, "line-1-out")).answer, Answer::kStored);
}

TEST_F(StopKeepingTest, DerivingAgainPassesByWhatIsNoLongerKeptAndCountsIt) {
  Open();
  Live("line-1");
  Live("line-2");
  EXPECT_EQ(StopAll(), 2u);
  Store(Insertion("in-3", kLongAfter, "line-3"));
  const auto map = MapWith("peripheral-cannula");
  UseMap(map);
  const RemapPage page = Look();
  EXPECT_EQ(page.chosen, 1u);
  EXPECT_EQ(page.looked_at, 3u);
  RemapOrder one = Sending();
  one.line_id = "line-1";
  EXPECT_EQ(Page(one).not_kept, 1u);
  EXPECT_EQ(Page(one).chosen, 0u);
  EXPECT_EQ(Page(one).lines.size(), 0u);
  RemapOrder open = Sending();
  open.open_only = true;
  const RemapPage only = Page(open);
  EXPECT_EQ(only.chosen, 1u);
  EXPECT_EQ(only.not_kept, 0u) << "nobody asked about lines that are over";
}

TEST_F(StopKeepingTest, WhatTheEndpointAcceptedOfSuchALineIsNeitherComparedNorCalledUnreadable) {
  Open();
  Live();
  EXPECT_EQ(StopAll(), 1u);
  std::promise<AcceptedPage> told;
  ledger_->ListAccepted(
      {}, [&told](Result<AcceptedPage> page) { told.set_value(std::move(page.value())); });
  const AcceptedPage page = told.get_future().get();
  ASSERT_EQ(page.lines.size(), 1u);
  EXPECT_GT(page.lines[0].not_kept, 0u);
  EXPECT_EQ(page.lines[0].resources.size(), 0u);
  EXPECT_EQ(page.lines[0].trouble, "");
}

// The file and its log as a power cut would leave them, after each step: a line is there whole, or
// it is no longer kept as a whole.
TEST_F(StopKeepingTest, StoppedBetweenAnyTwoStepsEachLineIsWholeOrGone) {
  constexpr std::size_t kLines = limits::kQuietLinesMax * 2 + 7;
  Open();
  for (std::size_t i = 0; i < kLines; ++i) Live("line-" + std::to_string(i));
  clock_.Set(Hour(kLongAfter));
  store::QuietLine after;
  std::size_t gone = 0;
  for (int n = 1;; ++n) {
    const StoppedKeeping step = Step(kLongAfter, after);
    if (step.looked_at == 0) break;
    EXPECT_LE(step.looked_at, limits::kQuietLinesMax);
    after = step.after;
    gone += step.lines;
    const std::string copy = folder_ / ("cut-" + std::to_string(n));
    EXPECT_TRUE(OnStore([&](store::Store&) -> Result<void> {
                  std::filesystem::copy_file(path_, copy);
                  std::filesystem::copy_file(path_ + "-wal", copy + "-wal");
                  return {};
                }).has_value());
    const auto cut = store::Store::Open(copy);
    ASSERT_TRUE(cut.has_value()) << cut.error().message();
    std::size_t found = 0;
    for (std::size_t i = 0; i < kLines; ++i) {
      const auto line = (*cut)->LoadLine(line::Key{"ward-tablets", "line-" + std::to_string(i)});
      ASSERT_TRUE(line.has_value() && line->has_value());
      const bool is_gone = (*line)->no_longer_kept_since.has_value();
      if (is_gone) ++found;
      EXPECT_EQ((*line)->issued.empty(), is_gone);
      EXPECT_EQ((*line)->summary.empty(), is_gone);
      ASSERT_EQ((*line)->raw_events.size(), 3u);
      for (const std::string& raw : (*line)->raw_events) EXPECT_EQ(raw.empty(), is_gone);
    }
    EXPECT_EQ(found, gone);
  }
  EXPECT_EQ(gone, kLines);
}

}  // namespace
}  // namespace dwell::ledger
