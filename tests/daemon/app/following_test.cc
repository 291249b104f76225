// Lines that follow changed rules, on a real store: what is owed survives a stop, and nothing is
// done twice.
#include "daemon/app/following.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/asio/io_context.hpp>

#include "tests/daemon/ledger/remapping_rig.h"

namespace dwell::app {
namespace {

using namespace test;  // NOLINT: the words of this test
using ledger::Remapping;

const ZoneMark kMark{"Europe/London", 7, "2026a"};

class FollowingTest : public Remapping {
 protected:
  FollowingTest() {
    strict_.version = "2";
    strict_.by_kind["peripheral-cannula"].dwell_max = std::chrono::hours(2);
  }
  /// As at a start, until it is over or waits for something.
  admin::Followed Resume(const ZoneMark& mark) {
    return Run([&mark](Following& following) { following.Resume(mark); });
  }
  admin::Followed Run(const std::function<void(Following&)>& begin) {
    boost::asio::io_context io(1);
    const auto work = boost::asio::make_work_guard(io);
    Following following(io.get_executor(), *writer_, *ledger_);
    begin(following);
    admin::Followed last;
    std::function<void(admin::Followed)> told = [&](const admin::Followed& followed) {
      last = followed;
      if (followed.over || !followed.waits_for.empty()) return io.stop();
      following.Next(told);
    };
    following.Next(told);
    io.run();
    return last;
  }
  std::string Note(std::string_view name) {
    std::string text;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  text = store.FindNote(name).value();
                  return {};
                }).has_value());
    return text;
  }

  due::Policy strict_ = PracticePolicy();
};

TEST_F(FollowingTest, AStoreWithoutLinesFollowsNothingAndRemembersTheZone) {
  Open();
  EXPECT_EQ(Resume(kMark).sums.looked_at, 0U);
  EXPECT_EQ(Note("zone"), "Europe/London 7 2026a");
  Store(Insertion("a", 0));
  EXPECT_EQ(Resume(kMark).sums.looked_at, 0U) << "nothing changed";
}

TEST_F(FollowingTest, LinesOfWhichNobodyKnowsTheZoneAreComputedAgain) {
  Open();
  Store(Insertion("a", 0));
  EXPECT_EQ(Resume(kMark).sums.chosen, 1U);
  EXPECT_EQ(Resume(kMark).sums.chosen, 0U);
}

TEST_F(FollowingTest, AnotherVersionWithTheSameRulesIsRememberedAndChangesNothing) {
  Open();
  Store(Insertion("a", 0));
  Resume(kMark);
  EXPECT_EQ(Resume({"Europe/London", 7, "2026b"}).sums.chosen, 0U);
  EXPECT_EQ(Note("zone"), "Europe/London 7 2026b");
  EXPECT_EQ(Resume({"Europe/London", 8, "2026b"}).sums.chosen, 1U) << "other rules, same version";
  EXPECT_EQ(Resume({"Europe/Paris", 8, "2026b"}).sums.chosen, 1U);
}

TEST_F(FollowingTest, WhatIsOwedIsDoneAtTheNextStartWithWhoAndWhyOfTheFirst) {
  Open();
  Store(Insertion("a", 0));
  Resume(kMark);
  Deliver();
  rules_.policy = &strict_;
  Reopen();
  {
    boost::asio::io_context io(1);  // never runs: the program stops right after the first job
    Following following(io.get_executor(), *writer_, *ledger_);
    following.Begin(kMark, "op-3", "limits of May");
    EXPECT_EQ(Note("lines-follow"), "op-3\nlimits of May");
  }
  Reopen();
  const admin::Followed followed = Resume(kMark);
  EXPECT_EQ(followed.sums.sent, 1U);
  EXPECT_EQ(Note("lines-follow"), "");
  std::vector<store::DecisionRecord> decisions = DecisionsAbout(2);
  ASSERT_EQ(decisions.size(), 1U);
  EXPECT_EQ(decisions[0].by, "op-3");
  EXPECT_EQ(decisions[0].why, "limits of May");
  EXPECT_EQ(Resume(kMark).sums.chosen, 0U) << "once";
}

TEST_F(FollowingTest, AFullQueueIsWaitedForAndNothingIsForgotten) {
  Open();
  Store(Insertion("a", 0));
  Resume(kMark);
  rules_.policy = &strict_;
  rules_.queue_bundles_max = 1;
  Reopen();
  const auto begin = [](Following& following) { following.Begin(kMark, "op-3", "limits of May"); };
  EXPECT_NE(Run(begin).waits_for, "");
  EXPECT_NE(Note("lines-follow"), "");
  Deliver();
  Reopen();
  EXPECT_EQ(Resume(kMark).sums.sent, 1U);
}

TEST_F(FollowingTest, ABeginningDuringAnotherStartsWithTheFirstLineAgain) {
  Open();
  for (int i = 0; i < 120; ++i) {
    Store(Insertion("e" + std::to_string(i), 0, "line-" + std::to_string(i)));
  }
  Resume(kMark);
  const admin::Followed followed = Run([](Following& following) {
    following.Begin(kMark, "op-3", "first");
    following.Begin(kMark, "op-4", "second");
  });
  EXPECT_EQ(followed.sums.looked_at, 120U);
  EXPECT_EQ(Note("lines-follow"), "");
}

}  // namespace
}  // namespace dwell::app
