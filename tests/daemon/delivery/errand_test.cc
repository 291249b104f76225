// What waited before a start, on a real store.
#include "daemon/delivery/errand.h"

#include <gtest/gtest.h>

#include "tests/daemon/store/store_records.h"

namespace dwell::delivery {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using store::Good;

constexpr Instant kStart{std::chrono::days(20000)};

class ErrandTest : public testing::Test {
 protected:
  /// A bundle made at `made_at` that waits until `not_before`; when it is ready after the start.
  Instant ReadyAt(Instant made_at, Instant not_before) {
    const auto store = store::OpenStore(folder_ / std::to_string(++stores_));
    Good(store->Begin());
    store::BundleRecord bundle = store::Bundle(store::AddLine(*store, "a"), 0);
    bundle.made_at = made_at;
    bundle.not_before = not_before;
    Good(store->AddBundle(bundle));
    Errand errand;
    errand.visit.now = kStart;
    errand.visit.waits_end_by =
        WaitsEnd{kStart + limits::kKeptWaitMax, kStart + limits::kBackoffMax};
    Good(errand.Run(*store));
    Good(store->Commit());
    return errand.next_ready.value();
  }
  test::TempFolder folder_;
  int stores_ = 0;
};

TEST_F(ErrandTest, WhatTheEndpointAskedForIsKeptOverARestart) {
  EXPECT_EQ(ReadyAt(kStart - hours(1), kStart + hours(23)), kStart + hours(23));
}

TEST_F(ErrandTest, NothingWaitsBeyondTheBound) {
  EXPECT_EQ(ReadyAt(kStart - hours(1), kStart + hours(24 * 3650)), kStart + limits::kKeptWaitMax);
}

TEST_F(ErrandTest, WhatAClockSaidThatWasSetBackSinceIsNotWaitedFor) {
  const Instant then = kStart + hours(24 * 3650);
  EXPECT_EQ(ReadyAt(then, then + minutes(1)), kStart + limits::kBackoffMax);
  EXPECT_EQ(ReadyAt(then, kStart + hours(20)), kStart + limits::kBackoffMax);
}

}  // namespace
}  // namespace dwell::delivery
