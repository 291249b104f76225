// The alarm clock on a real ledger and store, with a wall clock that the test sets.
#include "daemon/alarm/alarm.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <condition_variable>
#include <future>
#include <thread>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::alarm {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using namespace test;  // NOLINT: the words of this test

class AlarmTest : public LedgerRig {
 protected:
  // Waits for what the alarm does on its own thread; a test that waits in vain is ended by ctest.
  static void WaitUntilCaughtUp(Alarm& alarm, Instant instant) {
    while (alarm.caught_up_to() < instant) {
      alarm.Wake();
      std::this_thread::yield();
    }
  }
};

TEST_F(AlarmTest, CatchesUpAtTheStart) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  clock_.Set(Hour(100));
  Alarm alarm(*ledger_, clock_);
  WaitUntilCaughtUp(alarm, Hour(100));
  const auto bodies = Deliver();
  ASSERT_EQ(bodies.size(), 1u);
  EXPECT_THAT(bodies[0], HasSubstr("\"overdue\""));
}

TEST_F(AlarmTest, FollowsAClockThatJumpsAhead) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  Alarm alarm(*ledger_, clock_);
  WaitUntilCaughtUp(alarm, Start());
  EXPECT_THAT(Deliver(), IsEmpty());
  for (const double hours : {4.0, 5.0, 5.5}) {
    clock_.Set(Hour(hours));
    WaitUntilCaughtUp(alarm, Hour(hours));
    EXPECT_EQ(Deliver().size(), 1u) << hours;
  }
}

TEST_F(AlarmTest, IsToldOfEventsThatComeAfterItsStart) {
  Open();
  Alarm alarm(*ledger_, clock_);
  WaitUntilCaughtUp(alarm, Start());
  Store(Insertion("e1", 0));
  Deliver();
  clock_.Set(Hour(5));
  WaitUntilCaughtUp(alarm, Hour(5));
  EXPECT_EQ(Deliver().size(), 1u);
}

TEST_F(AlarmTest, AnswersFromItsOwnThreadWhoeverAsksWhetherItMoves) {
  Open();
  Alarm alarm(*ledger_, clock_);
  for (int i = 0; i < 3; ++i) {
    std::promise<std::thread::id> moved;
    alarm.Ask([&moved] { moved.set_value(std::this_thread::get_id()); });
    EXPECT_NE(moved.get_future().get(), std::this_thread::get_id());
  }
}

TEST_F(AlarmTest, FollowsAClockThatIsSetBack) {
  Open();
  clock_.Set(Hour(1000));
  Alarm alarm(*ledger_, clock_);
  WaitUntilCaughtUp(alarm, Hour(1000));
  clock_.Set(Hour(10));
  while (alarm.caught_up_to() > Hour(10)) {
    alarm.Wake();
    std::this_thread::yield();
  }
  Store(Insertion("e1", 10));
  Deliver();
  clock_.Set(Hour(13));  // 22:00, the next round
  WaitUntilCaughtUp(alarm, Hour(13));
  EXPECT_EQ(Deliver().size(), 1u);
}

TEST_F(AlarmTest, EndsWhileTheStoreHasStopped) {
  Open();
  OnStore([](store::Store&) -> Result<void> {
    return Error(ErrorKind::kIo, "sync failed");
  }).has_error();
  Alarm alarm(*ledger_, clock_);
  alarm.Wake();
  EXPECT_LT(alarm.caught_up_to(), Start());
}

}  // namespace
}  // namespace dwell::alarm
