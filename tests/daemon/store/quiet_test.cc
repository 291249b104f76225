// Lines that ended: found by age, and what stays when they are no longer kept.
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

class Quiet : public testing::Test {
 protected:
  void SetUp() override {
    store_ = OpenStore(path_);
    Good(store_->Begin());
  }
  std::int64_t Line(const std::string& id, std::int64_t last_event_ms,
                    std::optional<Instant> next_change = std::nullopt) {
    LineRecord line;
    line.key = {"ward-tablets", id};
    line.issued = "what was issued";
    line.summary = "{}";
    line.last_event_at = At(last_event_ms);
    line.next_change = next_change;
    return Good(store_->SaveLine(line));
  }
  std::vector<std::int64_t> Found(std::int64_t until_ms, QuietLine after = {},
                                  std::size_t max = 100) {
    std::vector<std::int64_t> seqs;
    for (const QuietLine& line : Good(store_->QuietLines(after, At(until_ms), max))) {
      seqs.push_back(line.seq);
    }
    return seqs;
  }
  std::int64_t Delivery(std::int64_t line, DeliveryState state, bool uncertain = false,
                        bool of_event = true) {
    const std::int64_t event =
        of_event ? AddEvent(*store_, line, "event-" + std::to_string(++added_)) : 0;
    const std::int64_t seq = Good(store_->AddBundle(Bundle(line, event)));
    if (state == DeliveryState::kReady) return seq;
    Settlement settlement = Settled(seq, state);
    settlement.uncertain = uncertain;
    settlement.at = At(9000 + seq);
    Good(store_->Settle(settlement));
    return seq;
  }
  void Cancel(std::int64_t bundle) {
    DecisionRecord decision;
    decision.bundle_seq = bundle;
    decision.at = At(9500);
    decision.act = Act::kCancelled;
    decision.by = "op-3";
    decision.why = "by hand";
    Good(store_->Decide(decision));
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  std::unique_ptr<Store> store_;
  int added_ = 0;
};

TEST_F(Quiet, TheOldestIsFoundFirstToTheMillisecondAndAListingGoesOnWhereItEnded) {
  const std::int64_t late = Line("late", 5001);
  const std::int64_t due = Line("due", 5000);
  const std::int64_t also_due = Line("also-due", 5000);
  const std::int64_t old = Line("old", 10);
  EXPECT_THAT(Found(5000), ElementsAre(old, due, also_due));
  EXPECT_THAT(Found(5000, {}, 2), ElementsAre(old, due));
  EXPECT_THAT(Found(5000, {At(5000), due}), ElementsAre(also_due));
  EXPECT_THAT(Found(5001, {At(5000), also_due}), ElementsAre(late));
  EXPECT_THAT(Found(9), IsEmpty());
}

TEST_F(Quiet, ALineThatTheClockStillLooksAtIsNotFound) {
  Line("in-use", 10, At(99));
  EXPECT_THAT(Found(5000), IsEmpty());
}

TEST_F(Quiet, TheInstantOfTheNewestEventNeverGoesBack) {
  const std::int64_t seq = Line("a", 700);
  LineRecord line = *Good(store_->LoadLine(seq));
  line.last_event_at = At(300);
  Good(store_->SaveLine(line));
  EXPECT_EQ(Good(store_->LoadLine(seq))->last_event_at, At(700));
  line.last_event_at = At(701);
  Good(store_->SaveLine(line));
  EXPECT_EQ(Good(store_->LoadLine(seq))->last_event_at, At(701));
}

TEST_F(Quiet, TiesTellWhatIsOpenUncertainOrAwaitedAndWhenItWasLastSettled) {
  const std::int64_t none = Line("none", 1);
  const Ties nothing = Good(store_->TiesOf(none));
  EXPECT_FALSE(nothing.open_delivery || nothing.perhaps_arrived || nothing.awaits);
  EXPECT_FALSE(nothing.last_settled_at.has_value());

  const std::int64_t done = Line("done", 1);
  Delivery(done, DeliveryState::kCompleted, true);
  const std::int64_t last = Delivery(done, DeliveryState::kCompleted, false, false);
  EXPECT_FALSE(Good(store_->TiesOf(done)).open_delivery);
  EXPECT_FALSE(Good(store_->TiesOf(done)).perhaps_arrived);
  EXPECT_EQ(Good(store_->TiesOf(done)).last_settled_at, At(9000 + last));

  for (const bool of_event : {true, false}) {
    for (const auto state : {DeliveryState::kReady, DeliveryState::kOnHold}) {
      const std::int64_t open = Line("open-" + std::to_string(++added_), 1);
      Delivery(open, state, false, of_event);
      EXPECT_TRUE(Good(store_->TiesOf(open)).open_delivery);
    }
  }
  const std::int64_t unsure = Line("unsure", 1);
  Cancel(Delivery(unsure, DeliveryState::kOnHold, true));
  EXPECT_FALSE(Good(store_->TiesOf(unsure)).open_delivery);
  EXPECT_TRUE(Good(store_->TiesOf(unsure)).perhaps_arrived);
  const std::int64_t known = Line("known", 1);
  Cancel(Delivery(known, DeliveryState::kOnHold));
  EXPECT_FALSE(Good(store_->TiesOf(known)).perhaps_arrived);

  Good(store_->Await("ward-tablets", "to-come", none));
  EXPECT_TRUE(Good(store_->TiesOf(none)).awaits);
  EXPECT_FALSE(Good(store_->TiesOf(done)).awaits);
}

TEST_F(Quiet, OfALineNoLongerKeptWhoItWasItsEventsHashesAndTheirDeliveriesStay) {
  const std::int64_t seq = Line("a", 10);
  const std::int64_t other = Line("b", 10);
  const std::int64_t bundle = Delivery(seq, DeliveryState::kCompleted);
  AddEvent(*store_, seq, "second");
  AddEvent(*store_, other, "others");
  const EventRecord before = *Good(store_->FindEvent("ward-tablets", "event-1"));
  EXPECT_EQ(before.line_id, "a");
  EXPECT_FALSE(before.no_longer_kept_since.has_value());
  EXPECT_EQ(Good(store_->StopKeeping(seq, At(7777))), 2u);

  const EventRecord after = *Good(store_->FindEvent("ward-tablets", "event-1"));
  EXPECT_EQ(after.raw, "");
  EXPECT_EQ(after.content, before.content);
  EXPECT_EQ(after.received_at, before.received_at);
  EXPECT_EQ(after.line_id, "a");
  EXPECT_EQ(after.no_longer_kept_since, At(7777));
  EXPECT_THAT(Seqs(Good(store_->BundlesOfEvent(after.seq))), ElementsAre(bundle));
  const LineRecord line = *Good(store_->LoadLine(line::Key{"ward-tablets", "a"}));
  EXPECT_EQ(line.no_longer_kept_since, At(7777));
  EXPECT_EQ(line.issued, "");
  EXPECT_EQ(line.summary, "");
  EXPECT_THAT(line.raw_events, ElementsAre("", ""));
  EXPECT_THAT(Found(99'000), ElementsAre(other));
  EXPECT_NE(Good(store_->FindEvent("ward-tablets", "others"))->raw, "");
  EXPECT_EQ(store_->counts().events, 3u);
}

TEST_F(Quiet, AWithdrawnStepDidNotHappen) {
  const std::int64_t seq = Line("a", 10);
  AddEvent(*store_, seq, "first");
  Good(store_->Commit());
  Good(store_->Begin());
  EXPECT_EQ(Good(store_->StopKeeping(seq, At(7777))), 1u);
  store_->Rollback();
  store_.reset();
  store_ = OpenStore(path_);
  EXPECT_NE(Good(store_->FindEvent("ward-tablets", "first"))->raw, "");
  EXPECT_FALSE(Good(store_->LoadLine(seq))->no_longer_kept_since.has_value());
}

TEST_F(Quiet, TheFileShrinksToWhatStays) {
  std::mt19937 random(7);  // a record of usual size
  EventRecord event;
  event.source = "ward-tablets";
  event.kind = "site-check";
  event.raw.resize(1500);
  std::vector<std::int64_t> lines;
  for (int i = 0; i < 300; ++i) {
    lines.push_back(Line("line-" + std::to_string(i), 10));
    for (int j = 0; j < 10; ++j) {
      event.id = "event-" + std::to_string(i) + "-" + std::to_string(j);
      for (char& c : event.raw) c = static_cast<char>(random());
      Good(store_->AddEvent(event, lines.back()));
    }
  }
  const auto full = Good(store_->CountPages());
  for (const std::int64_t line : lines) EXPECT_EQ(Good(store_->StopKeeping(line, At(99))), 10u);
  std::size_t pages = 1;
  while (pages > 0) pages = Good(store_->GiveBackPages(0, 1000));
  Good(store_->Commit());
  Good(store_->Finish());
  store_.reset();
  const auto bytes = std::filesystem::file_size(path_);
  EXPECT_LT(bytes, full.all * kPageBytes / 4);
  // 3,000 events in 300 lines: what stays of each, indexes and half-empty pages included.
  EXPECT_LT(bytes / 3000, 400u);
  store_ = OpenStore(path_);  // with SQLite's own check of the whole file
  EXPECT_EQ(store_->counts().events, 3000u);
}

TEST_F(Quiet, AStoreOfTheVersionBeforeKnowsWhenEachLineLastGotAnEvent) {
  store_.reset();
  const std::string old_path = folder_ / "old";
  {
    sqlite3* db = nullptr;
    ASSERT_EQ(sqlite3_open(old_path.c_str(), &db), SQLITE_OK);
    const DatabaseHandle closer(db);
    Good(Execute(db,
                 "PRAGMA page_size = 8192; PRAGMA auto_vacuum = INCREMENTAL;"
                 "PRAGMA application_id = 1685546348"));
    Good(Migrate(db, 0, MigrationSteps().first(8)));
    Good(Execute(db,
                 "INSERT INTO line VALUES(1, 's', 'a', 2, NULL, x'', '{}'),"
                 " (2, 's', 'b', 2, NULL, x'', '{}'), (3, 's', 'c', 2, 77, x'', '{}');"
                 "INSERT INTO event VALUES(1, 1, 's', 'e1', 'flush', x'', 500, x'31'),"
                 " (2, 1, 's', 'e2', 'flush', x'', 400, x'31'),"
                 " (3, 2, 's', 'e3', 'flush', x'', 450, x'31'),"
                 " (4, 3, 's', 'e4', 'flush', x'', 1, x'31');"
                 "UPDATE counts SET lines = 3, events = 4"));
  }
  store_ = OpenStore(old_path);
  EXPECT_THAT(Found(499), ElementsAre(2));
  EXPECT_THAT(Found(500), ElementsAre(2, 1));
  EXPECT_EQ(Good(store_->LoadLine(3))->last_event_at, At(1));
}

}  // namespace
}  // namespace dwell::store
