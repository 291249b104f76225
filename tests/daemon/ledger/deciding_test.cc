// Release and cancel through the ledger: what goes out afterwards, and what must not be lost.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/deciding_rig.h"

namespace dwell::ledger {
namespace {

using store::Act;
using store::DeliveryState;
using testing::Each;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using namespace test;  // NOLINT: the words of this test

TEST_F(Deciding, AReleasedBundleGoesAgainByteForByteAndBeforeThoseBehindIt) {
  Open();
  Store(Insertion("e1", 0));
  Store(SiteCheck("e2", 1));
  ASSERT_THAT(RefuseAll(), ElementsAre(1));
  const std::string before = BundleOf(1).body;
  EXPECT_THAT(Deliver(), IsEmpty());
  news_ = 0;
  const Ruling ruling = Release("1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_EQ(ruling.decided[0].refusal, "");
  EXPECT_EQ(ruling.decided[0].act, Act::kReleased);
  EXPECT_EQ(news_, 1) << "delivery is woken";
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(2));
  EXPECT_EQ(bodies[0], before);
  EXPECT_EQ(BundleOf(1).decisions.at(0).by, "op-3");
  EXPECT_EQ(BundleOf(1).decisions.at(0).former_why, "the endpoint answered 422: it refused it");
}

TEST_F(Deciding, AnEventsNameReleasesItsDeliveryAndNoOther) {
  Open();
  Store(Insertion("e1", 0));
  Store(Insertion("e2", 0, "line-2"));
  ASSERT_THAT(RefuseAll(), SizeIs(2));
  ASSERT_THAT(Release("e2").decided, SizeIs(1));
  EXPECT_EQ(BundleOf(1).state, DeliveryState::kOnHold);
  EXPECT_EQ(BundleOf(2).state, DeliveryState::kReady);
  EXPECT_THAT(Release("e2").refusal, HasSubstr("no delivery of this event is on hold"));
  EXPECT_THAT(Release("e9").refusal, HasSubstr("no such event"));
}

TEST_F(Deciding, DigitsAreADeliverysNumberUnlessASourceSaysThatTheyAreAnEvents) {
  Open();
  Store(Insertion("2", 0));
  Store(Insertion("e2", 0, "line-2"));
  ASSERT_THAT(RefuseAll(), ElementsAre(1, 2));
  Decide(Act::kReleased, "2", "ward-tablets");
  EXPECT_EQ(BundleOf(1).state, DeliveryState::kReady);
  EXPECT_EQ(BundleOf(2).state, DeliveryState::kOnHold);
}

TEST_F(Deciding, OnlyWhatIsOnHoldCanBeDecidedAbout) {
  Open();
  Store(Insertion("e1", 0));
  for (const auto* state : {"ready", "completed"}) {
    for (const Ruling& ruling : {Release("1"), Cancel("1")}) {
      ASSERT_THAT(ruling.decided, SizeIs(1));
      EXPECT_THAT(ruling.decided[0].refusal, HasSubstr(std::string("it is ") + state));
    }
    Deliver();
  }
  EXPECT_THAT(Cancel("7").decided.at(0).refusal, HasSubstr("no such delivery"));
  EXPECT_THAT(Cancel("e1").refusal, HasSubstr("number of a delivery"));
  EXPECT_THAT(BundleOf(1).decisions, IsEmpty());
}

TEST_F(Deciding, ACancelledBundleIsNeverSentAndTheLinesNextOneCarriesWhatIsStillSo) {
  for (const bool reopen : {false, true}) {
    path_ = folder_ / (reopen ? "reopened" : "kept");
    Open();
    Store(Insertion("e1", 0));
    ASSERT_THAT(RefuseAll(), ElementsAre(1));
    const auto held = NamesIn({BundleOf(1).body});
    ASSERT_THAT(held, Not(IsEmpty()));
    Store(Flush("e2", 1));
    const Ruling ruling = Cancel("1");
    ASSERT_THAT(ruling.decided, SizeIs(1));
    EXPECT_THAT(ruling.decided[0].forgotten, testing::UnorderedElementsAreArray(held));
    EXPECT_EQ(BundleOf(1).state, DeliveryState::kCancelled);
    if (reopen) Reopen();
    const auto moved_on = Deliver();
    ASSERT_THAT(moved_on, SizeIs(1)) << "the lane moves on";
    EXPECT_THAT(moved_on[0], HasSubstr("e2"));
    Store(Flush("e3", 2));
    EXPECT_THAT(NamesIn(Deliver()), testing::IsSupersetOf(held));
    Store(Flush("e4", 3));
    EXPECT_THAT(NamesIn(Deliver()), Each(Not(testing::AnyOfArray(held)))) << "once is enough";
    Close();
  }
}

TEST_F(Deciding, ATaskThatWasCancelledAndIsNotCalledForAnyMoreIsTakenBack) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  Store(SiteCheck("e2", 1, 3));  // a grade at which the line must come out: a Task says so
  ASSERT_THAT(RefuseAll(), SizeIs(1));
  const auto cancelled = Cancel("2").decided.at(0).forgotten;
  const auto task = std::ranges::find_if(
      cancelled, [](const std::string& name) { return name.starts_with("Task/"); });
  ASSERT_NE(task, cancelled.end());
  Sketch right = Replacing(SiteCheck("e3", 1, 0), "e2");
  right.recorded_hours = 2;
  Store(right);
  EXPECT_THAT(NamesIn(Deliver()), testing::Contains(*task));
}

TEST_F(Deciding, ARemovalTaskThatWasCancelledComesWithTheLinesNextBundle) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  Store(SiteCheck("e2", 1, 3));
  ASSERT_THAT(RefuseAll(), SizeIs(1));
  ASSERT_THAT(BundleOf(2).body, HasSubstr("remove-now"));
  const auto cancelled = NamesIn({BundleOf(2).body});
  Cancel("2");
  Store(Flush("e3", 1));  // at the same time: nothing else about the Task has changed
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_THAT(bodies[0], HasSubstr("remove-now"));
  EXPECT_THAT(NamesIn(bodies), testing::IsSupersetOf(cancelled));
}

TEST_F(Deciding, TheClockBringsWhatWasCancelledWhenNoEventDoes) {
  Open();
  Store(Insertion("e1", 0));
  ASSERT_THAT(RefuseAll(), SizeIs(1));
  const auto held = NamesIn({BundleOf(1).body});
  Cancel("1");
  clock_.Set(Hour(80));
  ASSERT_TRUE(CatchUp().has_value());
  EXPECT_THAT(NamesIn(Deliver()), testing::IsSupersetOf(held));
}

TEST_F(Deciding, AllOnHoldForOneReasonAreReleasedTogetherAndOthersAreLeft) {
  Open();
  for (int i = 0; i < 120; ++i) {
    const std::string number = std::to_string(i);
    Store(Insertion("e" + number, 0, "line-" + number));
  }
  std::size_t refused = 0;
  for (auto seqs = RefuseAll(); !seqs.empty(); seqs = RefuseAll()) refused += seqs.size();
  ASSERT_EQ(refused, 120u);
  EXPECT_THAT(ReleaseAllOf("answered 403").decided, IsEmpty());
  Ruling ruling = ReleaseAllOf("answered 422");
  EXPECT_THAT(ruling.decided, SizeIs(limits::kDecisionsMax));
  EXPECT_TRUE(ruling.more);
  ruling = ReleaseAllOf("answered 422", ruling.decided.back().bundle_seq);
  EXPECT_THAT(ruling.decided, SizeIs(120 - limits::kDecisionsMax));
  EXPECT_FALSE(ruling.more);
  EXPECT_EQ(Counts().on_hold, 0u);
  EXPECT_EQ(Counts().ready, 120u);
}

/// Bundles of ours that break our own structure, because the namespace is no URI.
class Illegal : public Deciding {
 protected:
  void StoreIllegal() {
    rules_.fhir.site_namespace = "no uri at all";
    Open();
    Store(Insertion("e1", 0));
    ASSERT_EQ(Counts().on_hold, 1u);
  }
  /// As a later version of us would do.
  void Mend() {
    Close();
    rules_ = Shelf::Get().Rules();
    Open();
  }
};

TEST_F(Illegal, ABundleOfOursIsNotReleasedWhileItWouldBeNoBetter) {
  StoreIllegal();
  const Ruling ruling = Release("e1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_THAT(ruling.decided[0].refusal, HasSubstr("made again it is no better: our own "));
  EXPECT_EQ(BundleOf(1).state, DeliveryState::kOnHold);
  EXPECT_THAT(BundleOf(1).decisions, IsEmpty());
  EXPECT_EQ(Counts().ready, 0u);
}

TEST_F(Illegal, AReleasedBundleOfOursIsMadeAgainAndOnlyWhatIsLegalGoesOut) {
  StoreIllegal();
  const std::string illegal = BundleOf(1).body;
  Mend();
  const Ruling ruling = Release("1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_EQ(ruling.decided[0].refusal, "");
  EXPECT_EQ(ruling.decided[0].act, Act::kMadeAgain);
  const std::int64_t again = ruling.decided[0].made_again_as;
  EXPECT_EQ(BundleOf(1).state, DeliveryState::kCancelled);
  EXPECT_EQ(BundleOf(1).body, illegal) << "kept as it was";
  EXPECT_EQ(BundleOf(1).decisions.at(0).made_again_as, again);
  EXPECT_EQ(BundleOf(again).event_seq, 1) << "the event's story goes on";
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_EQ(ReadHeld(bodies[0], Shelf::Get().schemas)->fault, "");
  EXPECT_THAT(bodies[0], HasSubstr("Device"));
  EXPECT_THAT(bodies[0], HasSubstr("n-017")) << "its author is still named";
  EXPECT_EQ(Counts().on_hold, 0u);
}

TEST_F(Illegal, WhatWaitsBehindABundleOfOursIsMadeAgainWithItAsOneBundle) {
  StoreIllegal();
  Mend();
  Store(SiteCheck("e2", 1));
  Store(Flush("e3", 2));
  Store(Insertion("other", 2, "line-2"));
  const std::string untouched = BundleOf(4).body;
  const Ruling ruling = Release("1");
  ASSERT_THAT(ruling.decided, SizeIs(1));
  EXPECT_THAT(ruling.decided[0].with_it, ElementsAre(2, 3));
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(2));
  EXPECT_EQ(bodies[0], untouched) << "another line is left alone";
  EXPECT_EQ(ReadHeld(bodies[1], Shelf::Get().schemas)->fault, "");
  for (const char* event : {"e1", "e2", "e3"}) EXPECT_THAT(bodies[1], HasSubstr(event));
  EXPECT_THAT(BundleOf(2).decisions, SizeIs(1));
  Store(Flush("e4", 3));
  EXPECT_THAT(NamesIn(Deliver()), Not(testing::Contains(testing::StartsWith("Device/"))))
      << "nothing is told twice";
}

/// Held because the check of that version was too narrow (here: it was another release's).
class CheckedTooNarrowly : public Illegal {
 protected:
  void StoreHeld() {
    rules_.schemas = &r5_;
    Open();
    Store(Insertion("e1", 0));
    ASSERT_EQ(Counts().on_hold, 1u);
    Mend();
  }
  schemas::Bundled r5_ = std::move(schemas::Bundled::Load(FhirRelease::kR5).value());
};

TEST_F(CheckedTooNarrowly, ABundleOfOursThatIsLegalAfterAllGoesAsItWasMade) {
  StoreHeld();
  const std::string made = BundleOf(1).body;
  EXPECT_EQ(Release("1").decided.at(0).act, Act::kReleased);
  EXPECT_THAT(Deliver(), ElementsAre(made));
}

TEST_F(CheckedTooNarrowly, ACancelledBundleOfOursIsMadeAnewWithTheLinesNextEvent) {
  StoreHeld();
  EXPECT_EQ(Cancel("1").decided.at(0).refusal, "");
  EXPECT_THAT(Deliver(), IsEmpty());
  Store(Flush("e2", 1));
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_EQ(ReadHeld(bodies[0], Shelf::Get().schemas)->fault, "");
  EXPECT_THAT(NamesIn(bodies), testing::Contains(testing::StartsWith("Device/")));
}

TEST(Held, ATextThatIsNoBundleOfOursIsSaidToBeUnreadable) {
  for (const char* text :
       {"", "[]", "{}", R"({"entry":{}})", R"({"entry":[1]})", R"({"entry":[{"resource":{}}]})"}) {
    EXPECT_TRUE(ReadHeld(text, Shelf::Get().schemas).has_error()) << text;
  }
}

}  // namespace
}  // namespace dwell::ledger
