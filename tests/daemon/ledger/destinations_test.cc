// Several endpoints: what each gets, and that what happens at one does not touch the others.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "daemon/ledger/held.h"
#include "tests/daemon/ledger/remapping_rig.h"

namespace dwell::ledger {
namespace {

using store::DeliveryState;
using testing::AllOf;
using testing::Contains;
using testing::ContainsRegex;
using testing::Each;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using testing::StartsWith;
using namespace test;  // NOLINT: the words of this test

constexpr std::int64_t kMain = 0;
constexpr std::int64_t kOther = 1;

class Destinations : public LedgerRig {
 protected:
  /// The main endpoint takes all; the other takes `types`.
  void OpenWith(const fhir::Types& types) {
    rules_.destinations = {{kMain, {}}, {kOther, types}};
    Open();
    EXPECT_TRUE(OnStore([](store::Store& store) -> Result<void> {
                  EXPECT_EQ(store.EndpointNumber("research").value(), kOther);
                  return {};
                }).has_value());
  }
  /// Claims all that may be sent there and settles it so.
  std::vector<store::BundleRecord> Take(std::int64_t endpoint,
                                        DeliveryState state = DeliveryState::kCompleted) {
    std::vector<store::BundleRecord> taken;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  auto claimed = store.Claim(endpoint, clock_.Now(), 100);
                  if (claimed.has_error()) return claimed.error();
                  for (const store::BundleRecord& bundle : claimed.value()) {
                    store::Settlement settlement;
                    settlement.bundle_seq = bundle.seq;
                    settlement.state = state;
                    settlement.why = state == DeliveryState::kOnHold ? "refused" : "";
                    const Result<void> settled = store.Settle(settlement);
                    if (settled.has_error()) return settled;
                  }
                  taken = std::move(claimed.value());
                  return {};
                }).has_value());
    return taken;
  }
  std::vector<std::string> DeliverAll(std::int64_t endpoint) {
    std::vector<std::string> bodies;
    for (auto taken = Take(endpoint); !taken.empty(); taken = Take(endpoint)) {
      for (store::BundleRecord& bundle : taken) bodies.push_back(std::move(bundle.body));
    }
    return bodies;
  }
  Ruling Release(const std::string& target) {
    Order order;
    order.target = target;
    order.by = "op-3";
    order.why = "looked at it";
    std::promise<Ruling> told;
    ledger_->Decide(std::move(order), [&told](Result<Ruling> ruling) {
      ASSERT_TRUE(ruling.has_value()) << ruling.error().message();
      told.set_value(std::move(ruling.value()));
    });
    return told.get_future().get();
  }
  static std::vector<std::string> NamesIn(const std::string& body) {
    const auto held = ReadHeld(body, Shelf::Get().schemas);
    EXPECT_EQ(held->fault, "");
    return held->names;
  }
};

TEST_F(Destinations, EachGetsTheSameBundlesInItsOwnLanesAndOrder) {
  OpenWith({});
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  Store(Removal("e3", 2));
  const auto at_main = DeliverAll(kMain);
  EXPECT_THAT(at_main, SizeIs(3));
  EXPECT_EQ(DeliverAll(kOther), at_main);
  EXPECT_EQ(Counts().completed, 6u);
}

TEST_F(Destinations, OneThatRefusesHoldsItsOwnLaneOnly) {
  OpenWith({});
  Store(Insertion("e1", 0));
  EXPECT_THAT(Take(kOther, DeliveryState::kOnHold), SizeIs(1));
  Store(Flush("e2", 1));
  EXPECT_THAT(DeliverAll(kMain), SizeIs(2));
  EXPECT_THAT(DeliverAll(kOther), IsEmpty());
  const Ruling ruling = Release("e1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_EQ(ruling.decided[0].endpoint, "research");
  EXPECT_THAT(DeliverAll(kOther), SizeIs(2));
  EXPECT_THAT(DeliverAll(kMain), IsEmpty()) << "what one has is not sent there again";
}

TEST_F(Destinations, AnEventStandsForItsDeliveriesAtAllOfThem) {
  OpenWith({});
  Store(Insertion("e1", 0));
  Take(kMain, DeliveryState::kOnHold);
  Take(kOther, DeliveryState::kOnHold);
  const Ruling ruling = Release("e1");
  ASSERT_THAT(ruling.decided, SizeIs(2));
  EXPECT_EQ(ruling.decided[0].endpoint, "main");
  EXPECT_EQ(ruling.decided[1].endpoint, "research");
  EXPECT_THAT(DeliverAll(kMain), SizeIs(1));
  EXPECT_THAT(DeliverAll(kOther), SizeIs(1));
}

TEST_F(Destinations, OneThatTakesSomeTypesGetsThoseAndWhatIsNotThereIsNamedByIdentifierToo) {
  OpenWith({"Observation"});
  Store(Insertion("e1", 0));
  Store(SiteCheck("e2", 1, 1));
  Store(Removal("e3", 30));
  const auto at_main = DeliverAll(kMain);
  const auto at_other = DeliverAll(kOther);
  ASSERT_THAT(at_main, SizeIs(3));
  ASSERT_THAT(at_other, SizeIs(3));
  for (std::size_t i = 0; i < at_other.size(); ++i) {
    const auto names = NamesIn(at_other[i]);
    EXPECT_THAT(names, AllOf(Not(IsEmpty()), Each(StartsWith("Observation/"))));
    const auto all = NamesIn(at_main[i]);
    EXPECT_EQ(static_cast<std::ptrdiff_t>(names.size()),
              std::ranges::count_if(
                  all, [](const std::string& name) { return name.starts_with("Observation/"); }));
    EXPECT_THAT(at_other[i], ContainsRegex(R"("reference":"(Device|Procedure)/)"));
    EXPECT_THAT(at_other[i], Not(ContainsRegex(R"("reference":"(Device|Procedure)/[^"]*"[^,]|)"
                                               R"("reference":"(Device|Procedure)/[^"]*",[^"]|)"
                                               R"("reference":"(Device|Procedure)/[^"]*","[^t])")));
  }
  // The Device is named as it names itself: its business identifier.
  const std::string identifier = R"("identifier":{"system":)"
                                 R"("https://fernhill.example/dwell/source/ward-tablets/resource",)"
                                 R"("value":"e1/device"})";
  EXPECT_THAT(at_main[0], HasSubstr(identifier.substr(identifier.find('{'))));
  EXPECT_THAT(at_other[1], HasSubstr(R"(,"type":"Device",)" + identifier + "}"));
}

TEST_F(Destinations, WhereNothingIsLeftThereIsNoBundleAndNoLane) {
  OpenWith({"Task", "Provenance"});
  Store(Insertion("e1", 0));
  EXPECT_THAT(DeliverAll(kMain), SizeIs(1));
  EXPECT_THAT(DeliverAll(kOther), SizeIs(1)) << "the tasks of the new line";
  Store(Retraction("e2", 0.2, "e9"));  // tells of nothing but itself
  Store(Flush("e3", 0.3));
  EXPECT_THAT(DeliverAll(kMain), Contains(HasSubstr("Procedure")));
  EXPECT_THAT(DeliverAll(kOther), IsEmpty());
}

TEST_F(Destinations, AProvenanceNamesWhatItsEndpointDoesNotTakeByIdentifier) {
  OpenWith({"Task", "Provenance"});
  Store(Insertion("e1", 0));
  const auto at_other = DeliverAll(kOther);
  ASSERT_THAT(at_other, SizeIs(1));
  EXPECT_THAT(NamesIn(at_other[0]), Contains(StartsWith("Provenance/")));
  EXPECT_THAT(at_other[0],
              AllOf(ContainsRegex(
                        R"("target":\[\{"reference":"Device/[^"]*","type":"Device","identifier":)"),
                    HasSubstr(R"({"reference":"Task/)")));
}

TEST_F(Destinations, WhatEachWasToldDoesNotDifferWhenDerivedAgain) {
  OpenWith({"Observation", "Device"});
  Store(Insertion("e1", 0));
  Store(SiteCheck("e2", 1, 1));
  const codes::CodeMap map = MapWith("sodium-chloride-0.9");
  rules_.fhir.codes = &map;  // of no code that these events use: all is made again, the same
  Reopen();
  std::promise<RemapPage> told;
  ledger_->Remap({}, [&told](Result<RemapPage> page) { told.set_value(std::move(page.value())); });
  const RemapPage page = told.get_future().get();
  EXPECT_EQ(page.chosen, 1u);
  EXPECT_THAT(page.lines, IsEmpty());
}

TEST_F(Destinations, ABundleOfOursThatIsMadeAgainIsMadeForEachOnce) {
  rules_.fhir.site_namespace = "no uri at all";  // breaks our own structure
  OpenWith({});
  Store(Insertion("e1", 0));
  ASSERT_EQ(Counts().on_hold, 2u);
  Close();
  rules_ = Shelf::Get().Rules();
  OpenWith({});
  Store(Flush("e2", 1));
  const Ruling ruling = Release("e1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_THAT(ruling.decided[0].with_it, SizeIs(3)) << "its like, and what waited behind both";
  const auto at_main = DeliverAll(kMain);
  EXPECT_THAT(at_main, SizeIs(1));
  EXPECT_EQ(DeliverAll(kOther), at_main);
  EXPECT_EQ(Counts().on_hold, 0u);
}

TEST_F(Destinations, WhatIsReadBackIsWhatTheMainOneAccepted) {
  OpenWith({});
  Store(Insertion("e1", 0));
  EXPECT_THAT(DeliverAll(kOther), SizeIs(1));
  const auto list = [this] {
    std::promise<AcceptedPage> told;
    ledger_->ListAccepted(
        {}, [&told](Result<AcceptedPage> page) { told.set_value(std::move(page.value())); });
    return told.get_future().get();
  };
  EXPECT_THAT(list().lines, IsEmpty());
  EXPECT_THAT(DeliverAll(kMain), SizeIs(1));
  const AcceptedPage page = list();
  ASSERT_THAT(page.lines, SizeIs(1));
  EXPECT_THAT(page.lines[0].resources, Not(IsEmpty()));
  EXPECT_EQ(page.lines[0].on_its_way, 0u);
}

TEST_F(Destinations, OneAddedLaterGetsWhatIsMadeFromThenOn) {
  Open();
  Store(Insertion("e1", 0));
  Close();
  OpenWith({});
  Store(Flush("e2", 1));
  EXPECT_THAT(DeliverAll(kMain), SizeIs(2));
  const auto at_other = DeliverAll(kOther);
  ASSERT_THAT(at_other, SizeIs(1));
  EXPECT_THAT(at_other[0], HasSubstr("e2"));
}

TEST_F(Destinations, OneThatIsNoLongerConfiguredKeepsWhatWaitsForIt) {
  OpenWith({});
  Store(Insertion("e1", 0));
  Close();
  rules_.destinations = {{kMain, {}}};
  Open();
  Store(Flush("e2", 1));
  EXPECT_THAT(DeliverAll(kMain), SizeIs(2));
  EXPECT_EQ(Counts().ready, 1u);
  Close();
  OpenWith({});
  EXPECT_THAT(DeliverAll(kOther), SizeIs(1));
}

}  // namespace
}  // namespace dwell::ledger
