// Exactly the n-th call to the disk fails, for every n of one event's whole walk: made, stored,
// delivered, settled, moved into the file, ended in good order.
#include <gtest/gtest.h>

#include "tests/sim/tests/walk.h"

namespace dwell::sim {
namespace {

using std::chrono::milliseconds;

/// The walk of one event, and of a second one on top; the sender repeats what was not answered, the
/// process starts again when it ended.
struct Walked {
  std::uint64_t calls = 0;  ///< that it took
  bool met_fault = false;
};
Walked WalkThrough(Walk& walk, std::uint64_t failing_call, Disk::Fault fault) {
  if (failing_call > 0) walk.disk().FailCall(failing_call, fault);
  walk.Start();
  for (const test::Sketch& sketch : {test::Insertion("e-1", 0), test::SiteCheck("e-2", 0.5)}) {
    int status = 0;
    for (int tries = 0; tries < 4 && status != 201 && status != 200; ++tries) {
      if (!walk.is_up()) walk.Start();
      status = walk.Send(sketch);
      walk.RunFor(milliseconds(5));
    }
    EXPECT_TRUE(status == 201 || status == 200) << status;
    walk.RunFor(std::chrono::seconds(2));
  }
  if (walk.is_up()) walk.process().Finish();
  const Walked walked{walk.disk().calls(), walk.has_met_fault()};
  walk.disk().FailNone();
  walk.Start();
  walk.RunFor(std::chrono::minutes(10));
  return walked;
}

void FailEveryCall(Disk::Fault fault) {
  Walk whole(1);
  const std::uint64_t calls = WalkThrough(whole, 0, fault).calls;
  ASSERT_GT(calls, 100u);
  std::uint64_t met = 0;
  for (std::uint64_t n = 1; n <= calls; ++n) {
    Walk walk(n);
    met += WalkThrough(walk, n, fault).met_fault ? 1 : 0;
    walk.CheckAll();
    EXPECT_EQ(walk.Counts().events, 2u);
    EXPECT_EQ(walk.Counts().completed, 2u);
    EXPECT_EQ(walk.peer().taken().size(), 2u);
    ASSERT_TRUE(walk.findings().ok() && !testing::Test::HasFailure())
        << "call " << n << " of " << calls << "\n"
        << walk.trace();
  }
  EXPECT_GT(met, 20u);
  testing::Test::RecordProperty("calls", static_cast<int>(calls));
}

TEST(NthCall, AnIoErrorAtAnyCallLosesNothingAndDoublesNothing) { FailEveryCall(Disk::Fault::kIo); }

TEST(NthCall, NoSpaceAtAnyCallLosesNothingAndDoublesNothing) { FailEveryCall(Disk::Fault::kFull); }

TEST(NthCall, APowerCutAtAnyCallLosesNothingAndDoublesNothing) { FailEveryCall(Disk::Fault::kCut); }

// A sync that failed has lost what the system still shows; what is acknowledged after the restart
// must not stand on it.
TEST(NthCall, WhatIsAcknowledgedAfterAFailureAndARestartSurvivesAPowerCut) {
  Walk whole(1);
  const std::uint64_t calls = WalkThrough(whole, 0, Disk::Fault::kIo).calls;
  int restarts = 0;
  for (std::uint64_t seed = 0; seed < 3 * calls; ++seed) {
    Walk walk(seed);
    walk.disk().FailCall(1 + seed % calls, Disk::Fault::kIo);
    walk.Start();
    walk.Send(test::Insertion("e-1", 0));
    if (!walk.is_up()) {
      walk.Start();
      ++restarts;
    }
    walk.Send(test::Insertion("e-1", 0));
    walk.Send(test::SiteCheck("e-2", 0.5));
    walk.disk().Cut();
    walk.disk().FailNone();
    walk.Start();
    walk.CheckAll();
    ASSERT_TRUE(walk.findings().ok()) << "seed " << seed << "\n" << walk.trace();
  }
  EXPECT_GT(restarts, 20);
}

}  // namespace
}  // namespace dwell::sim
