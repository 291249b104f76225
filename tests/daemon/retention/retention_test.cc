// The regular clean-up on a real store and its thread, with a wall clock that the test sets.
#include "daemon/retention/retention.h"

#include <gtest/gtest.h>

#include <future>
#include <thread>

#include "daemon/base/limits.h"
#include "tests/support/manual_clock.h"
#include "tests/support/temp_folder.h"

namespace dwell::retention {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::milliseconds;
using store::DeliveryState;

constexpr Instant kSettled{days(20000)};
constexpr days kKeep{30};

class RetentionTest : public testing::Test {
 protected:
  void SetUp() override {
    auto opened = store::Store::Open(path_);
    ASSERT_TRUE(opened.has_value()) << opened.error().message();
    writer_ = std::make_unique<store::Writer>(std::move(*opened), nullptr);
  }
  void OnStore(const std::function<Result<void>(store::Store&)>& work) {
    std::promise<void> done;
    writer_->Post({work, [&done](const Result<void>& result) {
                     EXPECT_TRUE(result.has_value());
                     done.set_value();
                   }});
    done.get_future().wait();
  }
  /// Bundles settled at kSettled, each in a lane of its own; seqs from 1.
  void Add(int count, DeliveryState state) {
    OnStore([&](store::Store& store) -> Result<void> {
      for (int i = 0; i < count; ++i) {
        store::LineRecord line;
        line.key = {"ward-tablets", std::to_string(++added_)};
        const auto line_seq = store.SaveLine(line);
        if (!line_seq) return line_seq.error();
        store::BundleRecord bundle;
        bundle.line_seq = *line_seq;
        bundle.body = "body";
        const auto seq = store.AddBundle(bundle);
        if (!seq) return seq.error();
        if (state == DeliveryState::kReady) continue;
        store::Settlement settlement;
        settlement.bundle_seq = *seq;
        settlement.state = state;
        settlement.at = kSettled;
        const Result<void> settled = store.Settle(settlement);
        if (!settled) return settled;
      }
      return {};
    });
  }
  bool Kept(std::int64_t seq) {
    bool kept = false;
    OnStore([&](store::Store& store) -> Result<void> {
      const auto found = store.FindBundle(seq);
      if (!found) return found.error();
      kept = (*found)->kept && !(*found)->body.empty();
      return {};
    });
    return kept;
  }
  /// Waits for a clean-up that began at that instant; a test that waits in vain is ended by ctest.
  static CleanUp WaitFor(Retention& retention, Instant at) {
    auto last = retention.last();
    for (; !last || last->at != at; last = retention.last()) {
      retention.Wake();
      std::this_thread::yield();
    }
    return *last;
  }
  /// One clean-up, right at its start.
  CleanUp CleanUpAt(Instant at, days keep = kKeep) {
    clock_.Set(at);
    Retention retention(*writer_, clock_, keep);
    return WaitFor(retention, at);
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  test::ManualClock clock_{kSettled};
  std::unique_ptr<store::Writer> writer_;
  int added_ = 0;
};

TEST_F(RetentionTest, ABodyGoesAfterItsDaysToTheMillisecond) {
  Add(1, DeliveryState::kCompleted);
  EXPECT_EQ(CleanUpAt(kSettled + kKeep - milliseconds(1)).bundles, 0u);
  EXPECT_TRUE(Kept(1));
  EXPECT_EQ(CleanUpAt(kSettled + kKeep).bundles, 1u);
  EXPECT_FALSE(Kept(1));
}

TEST_F(RetentionTest, ZeroDaysMeansForEver) {
  Add(1, DeliveryState::kCompleted);
  EXPECT_EQ(CleanUpAt(kSettled + days(30000), days(0)).bundles, 0u);
  EXPECT_TRUE(Kept(1));
}

TEST_F(RetentionTest, WhatIsNotDeliveredIsKeptHoweverOldItIs) {
  Add(1, DeliveryState::kReady);
  Add(1, DeliveryState::kOnHold);
  Add(1, DeliveryState::kCompleted);
  EXPECT_EQ(CleanUpAt(kSettled + days(30000), days(1)).bundles, 1u);
  EXPECT_TRUE(Kept(1));
  EXPECT_TRUE(Kept(2));
  EXPECT_FALSE(Kept(3));
}

TEST_F(RetentionTest, ManyGoInStepsAndAreAllCounted) {
  const int count = static_cast<int>(limits::kBodiesRemovedMax) * 3 + 1;
  Add(count, DeliveryState::kCompleted);
  EXPECT_EQ(CleanUpAt(kSettled + kKeep).bundles, static_cast<std::uint64_t>(count));
  for (int seq = 1; seq <= count; ++seq) EXPECT_FALSE(Kept(seq));
}

TEST_F(RetentionTest, OneStepTakesNoMoreThanItsShare) {
  Add(static_cast<int>(limits::kBodiesRemovedMax) + 1, DeliveryState::kCompleted);
  OnStore([](store::Store& store) -> Result<void> {
    for (const std::size_t share : {limits::kBodiesRemovedMax, std::size_t{1}, std::size_t{0}}) {
      const Result<Step> step = TakeStep(store, kSettled);
      if (!step) return step.error();
      EXPECT_EQ(step->bundles, share);
    }
    return {};
  });
}

TEST_F(RetentionTest, ItComesBackAtItsTimeAndFollowsAClockThatIsSet) {
  Add(1, DeliveryState::kCompleted);
  const Instant start = kSettled + kKeep - hours(1);
  clock_.Set(start);
  Retention retention(*writer_, clock_, kKeep);
  EXPECT_EQ(WaitFor(retention, start).bundles, 0u);
  clock_.Set(start + limits::kCleanUpEvery);
  EXPECT_EQ(WaitFor(retention, start + limits::kCleanUpEvery).bundles, 1u);
  clock_.Set(start - days(7));
  EXPECT_EQ(WaitFor(retention, start - days(7)).bundles, 0u);
}

TEST_F(RetentionTest, WhatAFullDiskUndidIsDoneTheNextTime) {
  Add(1, DeliveryState::kCompleted);
  // The store thread is held until the first step waits behind a job that finds the disk full:
  // both share the transaction that is rolled back.
  std::promise<void> held, let_go;
  writer_->Post({[&](store::Store&) -> Result<void> {
                   held.set_value();
                   let_go.get_future().wait();
                   return {};
                 },
                 nullptr});
  held.get_future().wait();
  writer_->Post(
      {[](store::Store&) -> Result<void> { return Error(ErrorKind::kFull, "full"); }, nullptr});
  const Instant start = kSettled + kKeep;
  clock_.Set(start);
  Retention retention(*writer_, clock_, kKeep);
  while (writer_->waiting() < 3) std::this_thread::yield();
  let_go.set_value();
  while (writer_->waiting() > 0) std::this_thread::yield();
  EXPECT_FALSE(retention.last().has_value());
  EXPECT_TRUE(Kept(1));
  clock_.Set(start + limits::kCleanUpEvery);
  EXPECT_EQ(WaitFor(retention, start + limits::kCleanUpEvery).bundles, 1u);
  EXPECT_FALSE(Kept(1));
}

}  // namespace
}  // namespace dwell::retention
