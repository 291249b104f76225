// What one endpoint never got although another did, and sending it there.
#include "daemon/ledger/never_sent.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using store::DeliveryState;
using testing::IsEmpty;
using testing::SizeIs;
using namespace test;  // NOLINT: the words of this test

constexpr std::int64_t kMain = 0;
constexpr std::int64_t kLater = 1;

class Never : public LedgerRig {
 protected:
  void OpenWithLater(const fhir::Types& types = {}) {
    Close();
    rules_.destinations = {{kMain, {}}, {kLater, types}};
    Open();
    EXPECT_TRUE(OnStore([](store::Store& store) -> Result<void> {
                  EXPECT_EQ(store.EndpointNumber("later").value(), kLater);
                  return {};
                }).has_value());
  }
  void Settle(std::int64_t endpoint, DeliveryState state) {
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  const auto claimed = store.Claim(endpoint, clock_.Now(), 100);
                  if (claimed.has_error()) return claimed.error();
                  for (const store::BundleRecord& bundle : claimed.value()) {
                    store::Settlement settlement;
                    settlement.bundle_seq = bundle.seq;
                    settlement.state = state;
                    settlement.at = clock_.Now();
                    const Result<void> settled = store.Settle(settlement);
                    if (settled.has_error()) return settled;
                  }
                  return {};
                }).has_value());
  }
  void RemoveBodies() {
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  EXPECT_EQ(store.RemoveBodies(clock_.Now(), 100).value(), 1U);
                  return {};
                }).has_value());
  }
  std::vector<AgainOne> NeverAt(std::int64_t endpoint) {
    AcceptedOrder order;
    order.endpoint = endpoint;
    order.never_sent = true;
    std::promise<std::vector<AgainOne>> told;
    ledger_->ListAccepted(order, [&told](Result<AcceptedPage> page) {
      std::vector<AgainOne> all;
      for (AcceptedLine& line : page.value().lines) {
        std::ranges::move(line.never_sent, std::back_inserter(all));
      }
      told.set_value(std::move(all));
    });
    return told.get_future().get();
  }
};

TEST_F(Never, IsWhatOnlyAnotherGotAndNothingOnceItWaitsHereToo) {
  Open();
  Store(Insertion("a", 0));
  Settle(kMain, DeliveryState::kCompleted);
  OpenWithLater();
  EXPECT_THAT(NeverAt(kMain), IsEmpty());
  const std::vector<AgainOne> never = NeverAt(kLater);
  EXPECT_THAT(never, testing::Not(IsEmpty()));
  AgainOrder order;
  order.endpoint = kLater;
  order.by = "op-3";
  order.why = "a later one";
  order.lines.push_back({1, never});
  for (const std::size_t sent : {never.size(), std::size_t{0}}) {  // twice
    std::promise<AgainDone> told;
    ledger_->SendAgain(
        order, [&told](Result<AgainDone> done) { told.set_value(std::move(done.value())); });
    const AgainDone done = told.get_future().get();
    ASSERT_THAT(done.lines, SizeIs(1));
    EXPECT_EQ(done.lines[0].resources, sent);
    EXPECT_EQ(done.lines[0].left_out, never.size() - sent);
  }
  EXPECT_THAT(NeverAt(kLater), IsEmpty());
}

TEST_F(Never, OfOneThatGetsSomeTypesOnlyTheseAreMeant) {
  Open();
  Store(Insertion("a", 0));
  OpenWithLater({"Device"});
  const std::vector<AgainOne> never = NeverAt(kLater);
  ASSERT_THAT(never, SizeIs(1));
  EXPECT_TRUE(never[0].name.starts_with("Device/"));
  OpenWithLater({"Medication"});
  EXPECT_THAT(NeverAt(kLater), IsEmpty());
}

TEST_F(Never, WhatIsOnHoldElsewhereIsNotTakenFromThere) {
  Open();
  Store(Insertion("a", 0));
  Settle(kMain, DeliveryState::kOnHold);
  OpenWithLater();
  EXPECT_THAT(NeverAt(kLater), IsEmpty());
}

TEST_F(Never, NothingIsSaidWhereABodyThatMayHaveHeldItIsNoLongerKept) {
  OpenWithLater();
  Store(Insertion("a", 0));
  Settle(kLater, DeliveryState::kCompleted);
  RemoveBodies();
  EXPECT_THAT(NeverAt(kLater), IsEmpty());
}

}  // namespace
}  // namespace dwell::ledger
