// What the endpoint accepted, for reading it back; and sending it again.
#include <gmock/gmock.h>

#include <set>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using test::Flush;
using test::Hour;
using test::Insertion;
using test::Removal;
using test::SiteCheck;
using testing::IsEmpty;
using testing::SizeIs;
using Names = std::set<std::string>;

class Accepting : public test::LedgerRig {
 protected:
  Accepting() { Open(); }

  /// The endpoint takes everything that waits, now; the number of deliveries.
  std::size_t Accept(store::DeliveryState state = store::DeliveryState::kCompleted) {
    std::size_t count = 0;
    bool more = true;
    while (more) {
      const Result<void> done = OnStore([&](store::Store& store) -> Result<void> {
        const auto claimed = store.Claim(0, clock_.Now(), 100);
        if (claimed.has_error()) return claimed.error();
        more = !claimed->empty();
        for (const store::BundleRecord& bundle : claimed.value()) {
          store::Settlement settlement;
          settlement.bundle_seq = bundle.seq;
          settlement.state = state;
          settlement.at = clock_.Now();
          const Result<void> settled = store.Settle(settlement);
          if (settled.has_error()) return settled;
          ++count;
        }
        return {};
      });
      EXPECT_TRUE(done.has_value());
    }
    return count;
  }
  AcceptedPage Page(AcceptedOrder order = {}) {
    std::promise<AcceptedPage> told;
    ledger_->ListAccepted(std::move(order), [&told](Result<AcceptedPage> page) {
      ASSERT_TRUE(page.has_value()) << page.error().message();
      told.set_value(std::move(page.value()));
    });
    return told.get_future().get();
  }
  AgainDone Again(const AcceptedPage& page) {
    AgainOrder order;
    order.by = "op-3";
    order.why = "the record lost a day";
    for (const AcceptedLine& line : page.lines) {
      AgainLine& again = order.lines.emplace_back();
      again.line_seq = line.line_seq;
      for (const Accepted& one : line.resources) {
        again.resources.push_back({one.type + "/" + one.id, one.bundle_seq});
      }
    }
    std::promise<AgainDone> told;
    ledger_->SendAgain(std::move(order), [&told](Result<AgainDone> done) {
      ASSERT_TRUE(done.has_value()) << done.error().message();
      told.set_value(std::move(done.value()));
    });
    return told.get_future().get();
  }
  static Names NamesOf(const AcceptedPage& page) {
    Names names;
    for (const AcceptedLine& line : page.lines) {
      for (const Accepted& one : line.resources) names.insert(one.type + "/" + one.id);
    }
    return names;
  }
  std::string BodyOf(std::int64_t bundle_seq) {
    std::string body;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  body = store.FindBundle(bundle_seq).value()->body;
                  return {};
                }).has_value());
    return body;
  }
};

TEST_F(Accepting, WhatWasAcceptedIsToldAsItWasSentAndWhatWaitsIsNot) {
  Store(Insertion("a", 0));
  EXPECT_THAT(Page().lines, IsEmpty());
  EXPECT_EQ(Accept(), 1U);
  const AcceptedPage page = Page();
  ASSERT_THAT(page.lines, SizeIs(1));
  EXPECT_EQ(page.lines[0].ward, "alder");
  EXPECT_GE(page.lines[0].resources.size(), 4U);
  const Accepted& one = page.lines[0].resources[0];
  EXPECT_NE(BodyOf(one.bundle_seq).find("\"resource\":" + one.json + ","), std::string::npos);
  EXPECT_EQ(one.at, Hour(0));
}

TEST_F(Accepting, OnlyThePeriodIsMeantAndOfEachResourceTheLastAcceptedVersion) {
  Store(Insertion("a", 0));
  Accept();
  Store(Removal("b", 10));
  Accept();
  AcceptedOrder since;
  since.since = Hour(5);
  const AcceptedPage late = Page(since);
  AcceptedOrder until;
  until.until = Hour(5);
  const AcceptedPage early = Page(until);
  EXPECT_EQ(late.lines.size(), 1U);
  for (const Accepted& one : late.lines[0].resources) EXPECT_EQ(one.at, Hour(10));
  // The device was written by both: it is meant by either period, and its last version is told.
  const auto device = [](const AcceptedPage& page) {
    for (const Accepted& one : page.lines.at(0).resources) {
      if (one.type == "Device") return one;
    }
    return Accepted();
  };
  EXPECT_EQ(device(early).json, device(late).json);
  EXPECT_NE(device(early).json, "");
  AcceptedOrder never;
  never.since = Hour(11);
  EXPECT_THAT(Page(never).lines, IsEmpty());
}

TEST_F(Accepting, LinesAreChosenBySourceIdAndWard) {
  Store(Insertion("a", 0, "line-1"));
  Store(Insertion("b", 0, "line-2"));
  Accept();
  EXPECT_THAT(Page().lines, SizeIs(2));
  AcceptedOrder order;
  order.line_id = "line-2";
  EXPECT_THAT(Page(order).lines, SizeIs(1));
  order.ward = "elm";
  EXPECT_THAT(Page(order).lines, IsEmpty());
  EXPECT_EQ(Page(order).looked_at, 2U);
}

TEST_F(Accepting, WhatAnOpenDeliveryWritesAnywayIsOnItsWay) {
  Store(Insertion("a", 0));
  Accept();
  const std::size_t before = Page().lines.at(0).resources.size();
  Store(Removal("b", 10));
  for (const bool is_held : {false, true}) {
    if (is_held) Accept(store::DeliveryState::kOnHold);
    const AcceptedPage page = Page();
    ASSERT_THAT(page.lines, SizeIs(1));
    EXPECT_GT(page.lines[0].on_its_way, 0U);
    EXPECT_EQ(page.lines[0].resources.size() + page.lines[0].on_its_way, before);
  }
}

TEST_F(Accepting, WhatIsSentAgainIsTheSameTextAndOnItsWaySoThatNothingGoesTwice) {
  Store(Insertion("a", 0));
  Store(SiteCheck("c", 1));
  Accept();
  const AcceptedPage page = Page();
  const AgainDone done = Again(page);
  ASSERT_THAT(done.lines, SizeIs(1));
  EXPECT_EQ(done.lines[0].resources, page.lines[0].resources.size());
  ASSERT_THAT(done.lines[0].bundle_seqs, SizeIs(1));
  const std::string body = BodyOf(done.lines[0].bundle_seqs[0]);
  for (const Accepted& one : page.lines[0].resources) {
    EXPECT_NE(body.find("\"resource\":" + one.json + ","), std::string::npos) << one.type;
  }
  EXPECT_EQ(Page().lines.at(0).on_its_way, page.lines[0].resources.size());
  EXPECT_THAT(Page().lines.at(0).resources, IsEmpty());
  const AgainDone twice = Again(page);  // decided on what is no longer so
  EXPECT_EQ(twice.lines.at(0).left_out, page.lines[0].resources.size());
  EXPECT_THAT(twice.lines.at(0).bundle_seqs, IsEmpty());
  Accept();
  EXPECT_EQ(NamesOf(Page()), NamesOf(page));  // and once it arrived, it is what was accepted
}

TEST_F(Accepting, WhoAndWhyAreKept) {
  Store(Insertion("a", 0));
  Accept();
  const AgainDone done = Again(Page());
  std::vector<store::DecisionRecord> decisions;
  EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                decisions = store.DecisionsAbout(done.lines.at(0).bundle_seqs.at(0)).value();
                return {};
              }).has_value());
  ASSERT_THAT(decisions, SizeIs(1));
  EXPECT_EQ(decisions[0].act, store::Act::kSentAgain);
  EXPECT_EQ(decisions[0].by, "op-3");
  EXPECT_EQ(decisions[0].why, "the record lost a day");
}

TEST_F(Accepting, AnOlderVersionNeverGoesOverANewerOne) {
  Store(Insertion("a", 0));
  Accept();
  const AcceptedPage page = Page();  // what a reader found out before ...
  Store(Removal("b", 10));           // ... the line went on
  Accept();
  const AgainDone done = Again(page);
  EXPECT_GT(done.lines.at(0).left_out, 0U);
  const std::string body = BodyOf(done.lines.at(0).bundle_seqs.at(0));
  EXPECT_EQ(body.find(R"("resourceType":"Device")"), std::string::npos);
}

TEST_F(Accepting, WhatWasGivenUpIsLeftToTheLinesNextDelivery) {
  Store(Insertion("a", 0));
  Accept();
  Store(Removal("b", 10));
  Accept(store::DeliveryState::kOnHold);
  std::int64_t held = 0;
  EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                held = store.ListQueue(0, 10)->at(0).bundle_seq;
                return {};
              }).has_value());
  const AcceptedPage before = Page();
  Order cancel;
  cancel.act = store::Act::kCancelled;
  cancel.target = std::to_string(held);
  cancel.by = "op-3";
  cancel.why = "recorded by hand";
  std::promise<void> decided;
  ledger_->Decide(cancel, [&](const Result<Ruling>&) { decided.set_value(); });
  decided.get_future().get();
  const AcceptedPage page = Page();
  EXPECT_EQ(page.lines.at(0).on_its_way, 0U);
  EXPECT_EQ(page.lines.at(0).given_up, before.lines.at(0).on_its_way);
  EXPECT_EQ(NamesOf(page), NamesOf(before));
}

TEST_F(Accepting, WhatIsNoLongerStoredIsCountedAndNotTold) {
  Store(Insertion("a", 0));
  Accept();
  EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                EXPECT_EQ(store.RemoveBodies(Hour(1), 10).value(), 1U);
                return {};
              }).has_value());
  const AcceptedPage page = Page();
  EXPECT_EQ(page.lines.at(0).not_kept, 1U);
  EXPECT_THAT(page.lines.at(0).resources, IsEmpty());
}

TEST_F(Accepting, NothingGoesOnceTheQueueIsFull) {
  Store(Insertion("a", 0));
  Accept();
  rules_.queue_bundles_max = 0;
  Reopen();
  const AgainDone done = Again(Page());
  EXPECT_EQ(done.refusal, "too many deliveries wait");
  EXPECT_THAT(done.lines, IsEmpty());
}

}  // namespace
}  // namespace dwell::ledger
