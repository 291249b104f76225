// Events and lines: what is written is read back, and no statement reads more than it returns.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include "daemon/store/statements.h"
#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

class Records : public testing::Test {
 protected:
  Records() : store_(OpenStore(folder_ / "store")) { Good(store_->Begin()); }
  test::TempFolder folder_;
  std::unique_ptr<Store> store_;
};

TEST_F(Records, AnEventIsFoundBySourceAndIdWithEverythingItCameWith) {
  const std::int64_t line = AddLine(*store_, "a");
  const std::int64_t first = AddEvent(*store_, line, "e1");
  const std::int64_t second = AddEvent(*store_, line, "e2");
  EXPECT_EQ(first, 1);
  EXPECT_EQ(second, 2);
  const auto found = Good(store_->FindEvent("ward-tablets", "e2"));
  ASSERT_TRUE(found.has_value());
  EXPECT_EQ(found->seq, 2);
  EXPECT_EQ(found->kind, "flush");
  EXPECT_EQ(found->content[0], 7);
  EXPECT_EQ(found->content[31], 0);
  EXPECT_EQ(found->received_at, At(1000));
  EXPECT_EQ(found->raw, "raw bytes of e2");
  EXPECT_FALSE(Good(store_->FindEvent("other-source", "e2")).has_value());
}

TEST_F(Records, AnIdIsFoundInEverySourceThatUsesIt) {
  for (const char* source : {"b", "a", "c", "d"}) {
    LineRecord line;
    line.key = {source, "line"};
    EventRecord event;
    event.source = source;
    event.id = source == std::string("d") ? "other" : "e1";
    Good(store_->AddEvent(event, Good(store_->SaveLine(line))));
  }
  std::vector<std::string> sources;
  for (const EventRecord& event : Good(store_->FindEvents("e1"))) sources.push_back(event.source);
  EXPECT_THAT(sources, ElementsAre("a", "b", "c"));
  EXPECT_THAT(Good(store_->FindEvents("none")), IsEmpty());
}

TEST_F(Records, AnAwaitedEventIsRememberedWithTheFirstLineThatNamedIt) {
  const std::int64_t first = AddLine(*store_, "a");
  const std::int64_t second = AddLine(*store_, "b");
  EXPECT_EQ(Good(store_->AwaitedBy("s", "e1")), std::nullopt);
  Good(store_->Await("s", "e1", first));
  Good(store_->Await("s", "e1", second));
  Good(store_->Commit());
  store_.reset();
  store_ = OpenStore(folder_ / "store");
  Good(store_->Begin());
  EXPECT_EQ(Good(store_->AwaitedBy("s", "e1")), first);
  EXPECT_EQ(Good(store_->AwaitedBy("t", "e1")), std::nullopt);
  Good(store_->StopAwaiting("s", "e1"));
  EXPECT_EQ(Good(store_->AwaitedBy("s", "e1")), std::nullopt);
}

TEST_F(Records, ANoteIsTheLastThatWasKeptUnderItsName) {
  EXPECT_EQ(Good(store_->FindNote("zone")), "");
  Good(store_->KeepNote("zone", "first"));
  Good(store_->KeepNote("other", "else"));
  Good(store_->KeepNote("zone", "second"));
  EXPECT_EQ(Good(store_->FindNote("zone")), "second");
  Good(store_->KeepNote("zone", ""));
  EXPECT_EQ(Good(store_->FindNote("zone")), "");
  EXPECT_EQ(Good(store_->FindNote("other")), "else");
}

TEST_F(Records, RawBytesMayHoldAnything) {
  const std::int64_t line = AddLine(*store_, "a");
  EventRecord event;
  event.source = "s";
  event.id = "";
  event.raw = std::string("a\0b\xff'\"", 6);
  Good(store_->AddEvent(event, line));
  EXPECT_EQ(Good(store_->FindEvent("s", ""))->raw, event.raw);
}

TEST_F(Records, ALineIsLoadedWithItsEventsInOrderOfArrival) {
  LineRecord line;
  line.key = {"ward-tablets", "a"};
  line.issued = std::string("\0\1\2", 3);
  line.bundles = 3;
  line.next_change = At(7000);
  line.summary = R"({"ward":"ash"})";
  line.seq = Good(store_->SaveLine(line));
  const std::int64_t other = AddLine(*store_, "b");
  AddEvent(*store_, line.seq, "e1");
  AddEvent(*store_, other, "e2");
  AddEvent(*store_, line.seq, "e3");
  const auto loaded = Good(store_->LoadLine(line.key));
  ASSERT_TRUE(loaded.has_value());
  EXPECT_EQ(loaded->seq, line.seq);
  EXPECT_EQ(loaded->key, line.key);
  EXPECT_EQ(loaded->issued, line.issued);
  EXPECT_EQ(loaded->bundles, 3u);
  EXPECT_EQ(loaded->next_change, At(7000));
  EXPECT_EQ(loaded->summary, line.summary);
  EXPECT_THAT(loaded->raw_events, ElementsAre("raw bytes of e1", "raw bytes of e3"));
  EXPECT_FALSE(Good(store_->LoadLine(line::Key{"ward-tablets", "c"})).has_value());

  line.next_change.reset();
  line.bundles = 4;
  EXPECT_EQ(Good(store_->SaveLine(line)), line.seq);
  EXPECT_EQ(Good(store_->LoadLine(line.seq))->bundles, 4u);
  EXPECT_EQ(Good(store_->LoadLine(line.seq))->next_change, std::nullopt);
  EXPECT_EQ(store_->counts().lines, 2u);
}

TEST_F(Records, LinesThatTheClockMustLookAtComeOldestFirst) {
  std::vector<std::int64_t> seqs;
  for (const std::int64_t next : {3000, 1000, 2000, 0}) {
    LineRecord line;
    line.key = {"s", std::to_string(next)};
    if (next != 0) line.next_change = At(next);
    seqs.push_back(Good(store_->SaveLine(line)));
  }
  EXPECT_THAT(Good(store_->LinesToChange(At(2000), 10)), ElementsAre(seqs[1], seqs[2]));
  EXPECT_THAT(Good(store_->LinesToChange(At(9000), 1)), ElementsAre(seqs[1]));
  EXPECT_THAT(Good(store_->LinesToChange(At(999), 10)), IsEmpty());
  EXPECT_EQ(Good(store_->NextChange()), At(1000));
}

TEST_F(Records, LinesAreListedInPagesWithoutTheirEvents) {
  for (const char* name : {"a", "b", "c"}) AddLine(*store_, name);
  AddEvent(*store_, 2, "e1");
  const auto page = Good(store_->ListLines(1, 1));
  ASSERT_EQ(page.size(), 1u);
  EXPECT_EQ(page[0].key.line_id, "b");
  EXPECT_THAT(page[0].raw_events, IsEmpty());
}

TEST_F(Records, BundlesOfAnEventAreListedWithoutBodies) {
  const std::int64_t line = AddLine(*store_, "a");
  const std::int64_t event = AddEvent(*store_, line, "e1");
  Good(store_->AddBundle(Bundle(line, event)));
  Good(store_->AddBundle(Bundle(line, 0)));
  BundleRecord held = Bundle(line, event, DeliveryState::kOnHold);
  held.why = "refused";
  held.outcome = "{}";
  Good(store_->AddBundle(held));
  Good(store_->Claim(0, At(1), 1));
  Good(store_->Settle(Settled(1, DeliveryState::kCompleted)));
  const auto bundles = Good(store_->BundlesOfEvent(event));
  ASSERT_EQ(bundles.size(), 2u);
  EXPECT_EQ(bundles[0].state, DeliveryState::kCompleted);
  EXPECT_EQ(bundles[0].settled_at, At(9000));
  EXPECT_EQ(bundles[0].body, "");
  EXPECT_EQ(bundles[1].state, DeliveryState::kOnHold);
  EXPECT_EQ(bundles[1].why, "refused");
  EXPECT_EQ(bundles[1].outcome, "{}");
  EXPECT_THAT(Good(store_->BundlesOfEvent(99)), IsEmpty());
}

TEST_F(Records, WhatWasNotCommittedIsNotThere) {
  AddLine(*store_, "a");
  store_->Rollback();
  EXPECT_EQ(store_->counts().lines, 0u);
  store_.reset();
  store_ = OpenStore(folder_ / "store");
  EXPECT_FALSE(Good(store_->LoadLine(line::Key{"ward-tablets", "a"})).has_value());
}

// SQLite's own explanation of each plan: a table or index that is read from end to end says SCAN.
TEST_F(Records, NoStatementReadsATableFromEndToEnd) {
  Good(store_->Commit());
  store_.reset();
  sqlite3* db = nullptr;
  ASSERT_EQ(sqlite3_open((folder_ / "store").c_str(), &db), SQLITE_OK);
  int plans = 0;
  for (std::size_t i = 0; i < kSqlCount; ++i) {
    const auto sql = static_cast<Sql>(i);
    const bool reads_first_of_index = sql == Sql::kNextChange || sql == Sql::kAwaitsAny;
    sqlite3_stmt* statement = nullptr;
    const std::string explain = std::string("EXPLAIN QUERY PLAN ") + SqlText(sql);
    ASSERT_EQ(sqlite3_prepare_v2(db, explain.c_str(), -1, &statement, nullptr), SQLITE_OK);
    while (sqlite3_step(statement) == SQLITE_ROW) {
      const std::string detail = reinterpret_cast<const char*>(sqlite3_column_text(statement, 3));
      EXPECT_THAT(detail, Not(HasSubstr("TEMP B-TREE"))) << SqlText(sql);
      const auto reads_little = reads_first_of_index
                                    ? testing::Matcher<std::string>(HasSubstr("INDEX"))
                                    : testing::Matcher<std::string>(Not(HasSubstr("SCAN")));
      EXPECT_THAT(detail, reads_little) << SqlText(sql);
      // Every open bundle has open = 1: to go by that alone is to read them all.
      if (std::string(SqlText(sql)).find("line_seq = ?") != std::string::npos) {
        EXPECT_THAT(detail, Not(HasSubstr("(open=?)"))) << SqlText(sql);
      }
      ++plans;
    }
    sqlite3_finalize(statement);
  }
  sqlite3_close(db);
  EXPECT_GE(plans, 20);
}

}  // namespace
}  // namespace dwell::store
