// The regular clean-up on a real store and its thread, with a wall clock that the test sets.
#include "daemon/retention/retention.h"

#include <gtest/gtest.h>

#include <future>
#include <thread>

#include "daemon/base/limits.h"
#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::retention {
namespace {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::milliseconds;
using store::DeliveryState;

constexpr Instant kSettled{days(20000)};
constexpr days kKeep{30};
constexpr days kKeepLines{400};

class RetentionTest : public testing::Test {
 protected:
  void SetUp() override {
    auto opened = store::Store::Open(path_);
    ASSERT_TRUE(opened.has_value()) << opened.error().message();
    writer_ = std::make_unique<store::Writer>(std::move(*opened), nullptr);
    ledger_ = std::make_unique<ledger::Ledger>(*writer_, clock_, rules_);
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
    Retention retention(*writer_, *ledger_, clock_, {keep, kKeepLines});
    return WaitFor(retention, at);
  }

  test::TempFolder folder_;
  std::string path_ = folder_ / "store";
  test::ManualClock clock_{kSettled};
  ledger::Rules rules_ = test::Shelf::Get().Rules();
  std::unique_ptr<store::Writer> writer_;
  std::unique_ptr<ledger::Ledger> ledger_;
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
  OnStore([this](store::Store& store) -> Result<void> {
    for (const std::size_t share : {limits::kBodiesRemovedMax, std::size_t{1}, std::size_t{0}}) {
      const Result<Step> step =
          TakeStep(store, *ledger_, {.bodies_until = kSettled, .lines_until = {}, .after = {}});
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
  Retention retention(*writer_, *ledger_, clock_, {kKeep, kKeepLines});
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
  Retention retention(*writer_, *ledger_, clock_, {kKeep, kKeepLines});
  while (writer_->waiting() < 3) std::this_thread::yield();
  let_go.set_value();
  while (writer_->waiting() > 0) std::this_thread::yield();
  EXPECT_FALSE(retention.last().has_value());
  EXPECT_TRUE(Kept(1));
  clock_.Set(start + limits::kCleanUpEvery);
  EXPECT_EQ(WaitFor(retention, start + limits::kCleanUpEvery).bundles, 1u);
  EXPECT_FALSE(Kept(1));
}

/// On lines that are really lived, through the ledger.
class LinesTest : public test::LedgerRig {
 protected:
  void Live(const std::string& line_id) {
    Store(test::Insertion(line_id + "-in", 0, line_id));
    Store(test::Removal(line_id + "-out", 20, line_id));
    clock_.Set(test::Hour(100));
    EXPECT_TRUE(CatchUp().has_value());
    Deliver();
  }
  /// A ward is at work then, by whose clocks ours is right.
  void BearOut(Instant at) {
    const std::chrono::duration<double, std::ratio<3600>> since = at - test::Hour(0);
    const std::string name = "today-" + std::to_string(at.time_since_epoch().count());
    Store(test::Insertion(name, since.count(), name));
    Deliver();
  }
  CleanUp CleanUpAt(Instant at, Lifetimes lifetimes) {
    clock_.Set(at);
    Retention retention(*writer_, *ledger_, clock_, lifetimes);
    auto last = retention.last();
    for (; !last; last = retention.last()) std::this_thread::yield();
    return *last;
  }
};

TEST_F(LinesTest, ALineThatEndedGoesAfterItsDaysToTheMillisecond) {
  Open();
  Live("line-1");
  const Instant last_event = test::Hour(20);
  const Lifetimes lifetimes{days(0), days(365)};
  BearOut(last_event + days(364));
  const CleanUp early = CleanUpAt(last_event + days(365) - milliseconds(1), lifetimes);
  EXPECT_EQ(early.lines, 0u);
  const CleanUp due = CleanUpAt(last_event + days(365), lifetimes);
  EXPECT_EQ(due.lines, 1u);
  EXPECT_EQ(due.events, 2u);
  EXPECT_EQ(due.bundles, 0u) << "bodies have a lifetime of their own";
}

TEST_F(LinesTest, AClockThatStandsYearsAheadRemovesNothing) {
  Open();
  Live("line-1");
  const Lifetimes lifetimes{days(30), days(365)};
  const Instant ahead = test::Hour(24 * 3650);
  CleanUp done = CleanUpAt(ahead, lifetimes);
  EXPECT_EQ(done.bundles + done.lines, 0u) << "no ward has told of such a day";
  // To the millisecond.
  BearOut(ahead - limits::kCleanUpQuietMax - milliseconds(1));
  done = CleanUpAt(ahead, lifetimes);
  EXPECT_EQ(done.bundles + done.lines, 0u);
  BearOut(ahead - limits::kCleanUpQuietMax);
  done = CleanUpAt(ahead, lifetimes);
  EXPECT_GT(done.bundles, 0u);
  EXPECT_EQ(done.lines, 1u);
}

TEST_F(LinesTest, ZeroDaysKeepLinesForEver) {
  Open();
  Live("line-1");
  BearOut(test::Hour(24 * 30000));
  EXPECT_EQ(CleanUpAt(test::Hour(24 * 30000), {days(1), days(0)}).lines, 0u);
}

TEST_F(LinesTest, ManyGoInStepsPastThoseThatMustStay) {
  Open();
  for (std::size_t i = 0; i < limits::kQuietLinesMax + 3; ++i) {
    Store(test::SiteCheck("check-" + std::to_string(i), 1, 0, "unknown-" + std::to_string(i)));
  }
  clock_.Set(test::Hour(100));
  EXPECT_TRUE(CatchUp().has_value());
  for (std::size_t i = 0; i < limits::kQuietLinesMax + 3; ++i) Live("line-" + std::to_string(i));
  BearOut(test::Hour(24 * 400));
  const CleanUp done = CleanUpAt(test::Hour(24 * 400), {days(30), days(365)});
  EXPECT_EQ(done.lines, limits::kQuietLinesMax + 3);
  EXPECT_EQ(done.events, 2 * (limits::kQuietLinesMax + 3));
  EXPECT_GT(done.bundles, 0u);
  const CleanUp again = CleanUpAt(test::Hour(24 * 401), {days(30), days(365)});
  EXPECT_EQ(again.lines, 0u);
}

}  // namespace
}  // namespace dwell::retention
