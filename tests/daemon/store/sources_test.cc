// When each ward system was last heard of.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/store/store_records.h"

namespace dwell::store {
namespace {

using testing::ElementsAre;

/// "name@milliseconds" of each.
std::vector<std::string> Told(const Store& store) {
  std::vector<std::string> told;
  for (const auto& row : store.sources()) {
    told.push_back(row.name + "@" + std::to_string(row.last_event_at.time_since_epoch().count()));
  }
  return told;
}

void Hear(Store& store, std::int64_t line, const std::string& source, std::int64_t ms) {
  static int number = 0;
  EventRecord event;
  event.source = source;
  event.id = "e" + std::to_string(++number);
  event.kind = "flush";
  event.received_at = At(ms);
  Good(store.AddEvent(event, line));
}

class Sources : public testing::Test {
 protected:
  Sources() {
    Good(store_->Begin());
    line_ = AddLine(*store_, "a");
    Good(store_->Commit());
  }
  void Reopen() {
    store_.reset();
    store_ = OpenStore(folder_ / "store");
  }

  const test::TempFolder folder_;
  std::unique_ptr<Store> store_ = OpenStore(folder_ / "store");
  std::int64_t line_ = 0;
};

TEST_F(Sources, EachIsKnownWithItsNewestEventAlsoAfterARestart) {
  Good(store_->Begin());
  Hear(*store_, line_, "ward-a", 1000);
  Hear(*store_, line_, "ward-b", 2000);
  Hear(*store_, line_, "ward-a", 3000);
  Good(store_->Commit());
  EXPECT_THAT(Told(*store_), ElementsAre("ward-a@3000", "ward-b@2000"));
  Reopen();
  EXPECT_THAT(Told(*store_), ElementsAre("ward-a@3000", "ward-b@2000"));
}

TEST_F(Sources, WhatWasRolledBackWasNotHeard) {
  Good(store_->Begin());
  Hear(*store_, line_, "ward-a", 1000);
  Good(store_->Commit());
  Good(store_->Begin());
  Hear(*store_, line_, "ward-a", 2000);
  Hear(*store_, line_, "ward-b", 2000);
  store_->Rollback();
  EXPECT_THAT(Told(*store_), ElementsAre("ward-a@1000"));
}

// A source that fell silent long ago is the one that matters.
TEST_F(Sources, OneThatTheNewestEventsDoNotNameIsFoundAfterARestart) {
  Good(store_->Begin());
  Hear(*store_, line_, "silent", 1000);
  for (std::size_t i = 0; i < limits::kSourceEventsMax; ++i) Hear(*store_, line_, "ward-a", 2000);
  Good(store_->Commit());
  Reopen();
  EXPECT_THAT(Told(*store_), ElementsAre("silent@1000", "ward-a@2000"));
}

TEST_F(Sources, TheUsualGapIsLearnedAndKeptOverARestart) {
  const auto usual = [this] { return store_->sources().front().usual_gap; };
  const std::int64_t day_ms = std::chrono::milliseconds(std::chrono::days(1)).count();
  Good(store_->Begin());
  for (std::int64_t day = 0; day < 2; ++day) Hear(*store_, line_, "ward-a", day * day_ms);
  Good(store_->Commit());
  Good(store_->Begin());
  Hear(*store_, line_, "ward-a", 2 * day_ms);
  store_->Rollback();
  EXPECT_EQ(usual(), std::nullopt);
  Good(store_->Begin());
  Hear(*store_, line_, "ward-a", 3 * day_ms);
  Hear(*store_, line_, "ward-a", 3 * day_ms + 60'000);
  Good(store_->Commit());
  EXPECT_EQ(usual(), std::chrono::hours(24));
  Reopen();
  EXPECT_EQ(usual(), std::chrono::hours(24));
}

TEST_F(Sources, BeyondTheLimitTheyAreOneWithoutAName) {
  Good(store_->Begin());
  for (std::size_t i = 0; i < limits::kSourcesMax + 5; ++i) {
    Hear(*store_, line_, "ward-" + std::to_string(i), static_cast<std::int64_t>(1000 + i));
  }
  Good(store_->Commit());
  ASSERT_EQ(store_->sources().size(), limits::kSourcesMax + 1);
  EXPECT_EQ(Told(*store_).front(), "@1204");
  Reopen();
  EXPECT_EQ(store_->sources().size(), limits::kSourcesMax + 1);
}

}  // namespace
}  // namespace dwell::store
