// Every answer that the ledger gives, and what is in the store after it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/ledger/content_hash.h"
#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using testing::Not;
using namespace test;  // NOLINT: the words of this test

class Answers : public LedgerRig {
 protected:
  store::LineRecord Line(const std::string& line_id = "line-1") {
    store::LineRecord found;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  auto line = store.LoadLine(line::Key{"ward-tablets", line_id});
                  if (line.has_error()) return line.error();
                  if (line.value()) found = std::move(*line.value());
                  return {};
                }).has_value());
    return found;
  }
};

TEST_F(Answers, ANewEventIsStoredWithItsLineAndItsBundle) {
  Open();
  const Receipt receipt = Send(Insertion("e1", 0));
  EXPECT_EQ(receipt.answer, Answer::kStored);
  EXPECT_EQ(receipt.event_seq, 1);
  EXPECT_EQ(receipt.received_at, Start());
  const store::Counts counts = Counts();
  EXPECT_EQ(counts.events, 1u);
  EXPECT_EQ(counts.lines, 1u);
  EXPECT_EQ(counts.ready, 1u);
  EXPECT_EQ(counts.on_hold, 0u);
  const store::LineRecord line = Line();
  EXPECT_EQ(line.bundles, 1u);
  EXPECT_GT(line.next_change, Start());
  EXPECT_EQ(line.raw_events.at(0), Raw(Insertion("e1", 0)));
  EXPECT_EQ(news_, 1);
}

TEST_F(Answers, TheSummaryShowsWhatAListingNeeds) {
  Open();
  Store(Insertion("e1", 0));
  Store(SiteCheck("e2", 1, 1));
  const std::string summary = Line().summary;
  const auto document = schemas::Document::Parse(summary);
  ASSERT_TRUE(document.has_value()) << summary;
  const auto text = [&](const char* pointer) {
    const auto value = document->At(pointer);
    return value && value->is_string() ? std::string(value->AsString()) : std::string("(none)");
  };
  EXPECT_EQ(text("/line_id"), "line-1");
  EXPECT_EQ(text("/kind"), "peripheral-cannula");
  EXPECT_EQ(text("/phase"), "in-place");
  EXPECT_EQ(text("/ward"), "alder");
  EXPECT_EQ(text("/bed"), "4");
  EXPECT_EQ(text("/patient/value"), "9990000018");
  EXPECT_EQ(text("/site/place"), "dorsum-of-hand");
  EXPECT_EQ(text("/since"), "2026-03-02T09:00:00Z");
  EXPECT_EQ(text("/last_check"), "2026-03-02T10:00:00Z");
  EXPECT_EQ(document->At("/last_grade")->NumberText(), "1");
  EXPECT_EQ(document->At("/removed_at")->kind(), schemas::Kind::kNull);
  EXPECT_EQ(text("/dues/0/rule"), "site-check-due");
  EXPECT_EQ(text("/dues/0/due_at"), "2026-03-02T14:00:00Z");
  EXPECT_EQ(text("/dues/1/rule"), "removal-due");
  EXPECT_EQ(text("/dues/1/due_at"), "2026-03-05T09:00:00Z");
}

TEST_F(Answers, TheSameEventAgainIsTheSameEventAlsoAfterARestart) {
  Open();
  Store(Insertion("e1", 0));
  clock_.Set(Hour(1));
  for (int round = 0; round < 2; ++round) {
    const Receipt again = Send(Insertion("e1", 0));
    EXPECT_EQ(again.answer, Answer::kRepeated);
    EXPECT_EQ(again.event_seq, 1);
    EXPECT_EQ(again.received_at, Start());
    EXPECT_EQ(Counts().events, 1u);
    EXPECT_EQ(Counts().ready, 1u);
    Reopen();
  }
  EXPECT_EQ(news_, 1);
}

TEST_F(Answers, ARepeatWithinOneSubmissionIsSeen) {
  Open();
  const auto receipts = SendAll({Raw(Insertion("e1", 0)), Raw(Insertion("e1", 0))});
  EXPECT_EQ(receipts.at(0).answer, Answer::kStored);
  EXPECT_EQ(receipts.at(1).answer, Answer::kRepeated);
  EXPECT_EQ(receipts.at(1).event_seq, receipts.at(0).event_seq);
}

TEST_F(Answers, TheSameIdWithOtherContentIsAConflict) {
  Open();
  Store(Insertion("e1", 0));
  const Receipt other = Send(Insertion("e1", 0, "line-2"));
  EXPECT_EQ(other.answer, Answer::kConflict);
  EXPECT_EQ(other.contradiction.pointer, "/id");
  EXPECT_EQ(Counts().events, 1u);
  EXPECT_EQ(Counts().lines, 1u);
}

TEST_F(Answers, WhatContradictsTheLinesLifeIsRefusedAndLeavesNoTrace) {
  Open();
  Store(Insertion("e1", 0));
  clock_.Set(Hour(3));
  const std::string before = Line().summary;
  const Receipt second = Send(Insertion("e2", 2));
  EXPECT_EQ(second.answer, Answer::kContradiction);
  EXPECT_EQ(second.contradiction.rule, "second-insertion");
  EXPECT_EQ(second.contradiction.event_id, "e2");
  EXPECT_EQ(Counts().events, 1u);
  EXPECT_EQ(Line().summary, before);
  // And the line goes on.
  EXPECT_EQ(Send(SiteCheck("e3", 2)).answer, Answer::kStored);
}

TEST_F(Answers, AContradictionInANewLineLeavesNoLine) {
  Open();
  const Receipt receipt = Send(Replacing(Flush("e1", 0), "e1"));
  EXPECT_EQ(receipt.answer, Answer::kContradiction);
  EXPECT_EQ(Counts().lines, 0u);
  EXPECT_EQ(Send(Insertion("e2", 0)).answer, Answer::kStored);
}

TEST_F(Answers, TheFutureBeginsFiveMinutesAhead) {
  Open();
  constexpr double kMinute = 1.0 / 60;
  EXPECT_EQ(Send(Insertion("e1", 5 * kMinute)).answer, Answer::kStored);
  const Receipt ahead = Send(Flush("e2", 6 * kMinute));
  EXPECT_EQ(ahead.answer, Answer::kContradiction);
  EXPECT_EQ(ahead.contradiction.rule, "in-the-future");
  EXPECT_EQ(ahead.contradiction.pointer, "/happened_at");
  Sketch recorded_ahead = Flush("e3", 5 * kMinute);
  recorded_ahead.recorded_hours = 1;
  EXPECT_EQ(Send(recorded_ahead).contradiction.pointer, "/recorded_at");
  EXPECT_EQ(Counts().events, 1u);
}

TEST_F(Answers, WithoutRoomOnlyRepeatsAreAnswered) {
  Open();
  Store(Insertion("e1", 0));
  Close();
  Open({.free_bytes_min = 1ULL << 62});
  const auto receipts = SendAll({Raw(Insertion("e1", 0)), Raw(Flush("e2", 0))});
  EXPECT_EQ(receipts.at(0).answer, Answer::kRepeated);
  EXPECT_EQ(receipts.at(1).answer, Answer::kNotNow);
  EXPECT_THAT(receipts.at(1).why, HasSubstr("space"));
  EXPECT_EQ(Counts().events, 1u);
}

TEST_F(Answers, AFullQueuePutsEventsOffUntilSomethingIsDelivered) {
  rules_.queue_bundles_max = 1;
  Open();
  Store(Insertion("e1", 0));
  EXPECT_EQ(Send(Flush("e2", 0)).answer, Answer::kNotNow);
  Deliver();
  EXPECT_EQ(Send(Flush("e2", 0)).answer, Answer::kStored);
}

TEST_F(Answers, AnIllegalResourceOfOursHoldsTheBundleAndKeepsTheEvent) {
  rules_.fhir.site_namespace = "no uri at all";
  Open();
  EXPECT_EQ(Send(Insertion("e1", 0)).answer, Answer::kStored);
  EXPECT_EQ(Counts().events, 1u);
  EXPECT_EQ(Counts().on_hold, 1u);
  EXPECT_EQ(Counts().ready, 0u);
  std::vector<store::QueueRow> queue;
  EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                queue = std::move(store.ListQueue(0, 10).value());
                return {};
              }).has_value());
  ASSERT_EQ(queue.size(), 1u);
  EXPECT_THAT(queue[0].why, HasSubstr("our own "));
  EXPECT_THAT(queue[0].why, HasSubstr("expected"));
  EXPECT_THAT(queue[0].why, Not(HasSubstr("9990000018")));
}

TEST_F(Answers, AStoppedStoreMeansNotNow) {
  Open();
  OnStore([](store::Store&) -> Result<void> {
    return Error(ErrorKind::kIo, "sync failed");
  }).has_error();
  const Receipt receipt = Send(Insertion("e1", 0));
  EXPECT_EQ(receipt.answer, Answer::kNotNow);
  EXPECT_EQ(receipt.why, "sync failed");
  EXPECT_EQ(news_, 0);
}

// The event shares its transaction with a job that fails; nothing of it may be remembered.
TEST_F(Answers, ARolledBackEventIsForgottenAndCanBeSentAgain) {
  Open();
  Store(Insertion("e1", 0));
  std::promise<void> release;
  std::promise<void> entered;
  writer_->Post({[&](store::Store&) -> Result<void> {
                   entered.set_value();
                   release.get_future().wait();
                   return {};
                 },
                 nullptr});
  entered.get_future().wait();
  std::promise<std::vector<Receipt>> told;
  const auto& schemas = Shelf::Get().schemas;
  ledger_->Submit({Submit(schemas, Raw(SiteCheck("e2", 0))),
                   Submit(schemas, Raw(Insertion("e3", 0, "line-2")))},
                  [&](std::vector<Receipt> receipts) { told.set_value(std::move(receipts)); });
  writer_->Post(
      {[](store::Store&) -> Result<void> { return Error(ErrorKind::kFull, "full"); }, nullptr});
  release.set_value();
  const auto receipts = told.get_future().get();
  ASSERT_EQ(receipts.size(), 2u);
  EXPECT_EQ(receipts[0].answer, Answer::kNotNow);
  EXPECT_EQ(receipts[1].answer, Answer::kNotNow);
  EXPECT_EQ(Counts().events, 1u);
  EXPECT_EQ(news_, 1);

  EXPECT_EQ(Send(SiteCheck("e2", 0)).answer, Answer::kStored);
  EXPECT_EQ(Send(Insertion("e3", 0, "line-2")).answer, Answer::kStored);
  EXPECT_EQ(Line().raw_events.size(), 2u);
  EXPECT_EQ(Line().bundles, 2u);
  EXPECT_EQ(Line("line-2").raw_events.size(), 1u);
}

TEST_F(Answers, ALineWhoseStoredEventIsUnreadableWaitsAndTheOthersGoOn) {
  Open();
  Store(Insertion("e1", 0));
  Close();
  Open();
  ASSERT_TRUE(OnStore([](store::Store& store) -> Result<void> {
                store::EventRecord broken;
                broken.source = "ward-tablets";
                broken.id = "broken";
                broken.raw = "{";
                broken.content = ContentHash(broken.raw);  // not damaged: as it was stored
                const auto added = store.AddEvent(broken, 1);
                if (added.has_error()) return added.error();
                return store.AnotherEvent(1, Hour(0));
              }).has_value());
  EXPECT_EQ(Send(Flush("e2", 0)).answer, Answer::kNotNow);
  EXPECT_EQ(Send(Insertion("e3", 0, "line-2")).answer, Answer::kStored);
  clock_.Set(Hour(20));
  ASSERT_TRUE(CatchUp().has_value());
  EXPECT_EQ(Line().next_change, Hour(21));
  EXPECT_GT(Line("line-2").bundles, 1u);
}

}  // namespace
}  // namespace dwell::ledger
