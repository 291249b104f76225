// Lines derived again after the code map or the policy changed: exactly what differs goes out,
// once.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/remapping_rig.h"

namespace dwell::ledger {
namespace {

using store::Act;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using namespace test;  // NOLINT: the words of this test

TEST_F(Remapping, NothingChangedGivesNothing) {
  Open();
  Store(Insertion("e1", 0));
  Store(SiteCheck("e2", 1));
  const auto before = Deliver();
  ASSERT_THAT(before, SizeIs(2));
  news_ = 0;
  EXPECT_THAT(Look().lines, IsEmpty());
  const RemapPage sent = Send();
  EXPECT_THAT(sent.lines, IsEmpty());
  EXPECT_EQ(sent.chosen, 1U);
  EXPECT_EQ(sent.same, 0U);
  EXPECT_THAT(Deliver(), IsEmpty());
  EXPECT_EQ(news_, 0) << "nothing was stored, nobody is woken";
}

TEST_F(Remapping, AChangedCodeSendsExactlyTheResourcesThatHoldItAndOnce) {
  Open();
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  Store(SiteCheck("e3", 2));
  Store(Insertion("f1", 3, "line-2"));
  const auto before = TextsIn(Deliver());
  Names coded;  // by what went out, not by what we know of our own resources
  for (const auto& [name, text] : before) {
    if (text.find(R"("text":"sodium chloride 0.9 %")") != std::string::npos) coded.insert(name);
  }
  ASSERT_THAT(coded, Not(IsEmpty()));
  ASSERT_LT(coded.size(), before.size() / 2);
  const codes::CodeMap map = MapWith("sodium-chloride-0.9");
  UseMap(map);

  const RemapPage looked = Look();
  EXPECT_EQ(NamesOf(looked), coded);
  ASSERT_THAT(looked.lines, SizeIs(1)) << "the other line holds no such code";
  EXPECT_EQ(looked.lines[0].key.line_id, "line-1");
  EXPECT_EQ(looked.lines[0].ward, "alder");
  EXPECT_GT(looked.same, 5U);
  for (const Remapped& one : looked.lines[0].resources) {
    EXPECT_EQ(one.state, Remapped::State::kDiffers);
    EXPECT_THAT(one.role, Not(IsEmpty()));
    EXPECT_THAT(one.changes, testing::Contains(testing::Field(&Change::after, "X1")));
  }
  EXPECT_THAT(Deliver(), IsEmpty()) << "looking sends nothing";

  const RemapPage sent = Send();
  EXPECT_EQ(NamesOf(sent), coded);
  ASSERT_THAT(sent.lines, SizeIs(1));
  const auto decisions = DecisionsAbout(sent.lines[0].bundle_seqs.at(0));
  ASSERT_THAT(decisions, SizeIs(1));
  EXPECT_EQ(decisions[0].act, Act::kDerivedAgain);
  EXPECT_EQ(decisions[0].by, "op-3");
  EXPECT_EQ(decisions[0].why, "map of March");
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_EQ(NamesIn(bodies), coded);
  for (const auto& [name, text] : TextsIn(bodies)) {
    if (!name.starts_with("Provenance/")) {
      EXPECT_THAT(text, HasSubstr(R"("code":"X1")")) << name;
    }
  }

  EXPECT_THAT(Send().lines, IsEmpty());
  EXPECT_EQ(Look().same, 0U) << "what came out the same counts as issued by the new map";
  EXPECT_THAT(Deliver(), IsEmpty());
}

TEST_F(Remapping, TheProvenanceNamesTheProgramAndNobodyWhoToldTheEvents) {
  Open();
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  ASSERT_THAT(Deliver(), SizeIs(2));
  const codes::CodeMap map = MapWith("sodium-chloride-0.9");
  UseMap(map);
  Send();
  std::string provenance;
  for (const auto& [name, text] : TextsIn(Deliver())) {
    if (name.starts_with("Provenance/")) provenance = text;
  }
  EXPECT_THAT(provenance, HasSubstr(R"("code":"UPDATE")"));
  EXPECT_THAT(provenance, HasSubstr(R"("code":"assembler")"));
  EXPECT_THAT(provenance, Not(HasSubstr(R"("code":"author")")));
  EXPECT_THAT(provenance, Not(HasSubstr("n-017")));
  EXPECT_THAT(provenance, HasSubstr("derivation anew"));
}

TEST_F(Remapping, TheNextEventAfterwardsSendsNoMoreThanWithoutTheChange) {
  Open();
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  Deliver();
  const codes::CodeMap map = MapWith("sodium-chloride-0.9");
  UseMap(map);
  Send();
  Deliver();
  Store(Flush("e3", 2));
  for (const std::string& name : NamesIn(Deliver())) {
    EXPECT_FALSE(name.starts_with("Device/")) << name << " had not changed";
  }
}

TEST_F(Remapping, RulesReplacedWhileRunningCountFromTheNextJobOnAndAreKeptAlive) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  auto strict = std::make_shared<due::Policy>(PracticePolicy());
  strict->by_kind["peripheral-cannula"].dwell_max = std::chrono::hours(2);
  Rules rules = rules_;
  rules.policy = strict.get();
  rules.owner = strict;
  const std::weak_ptr<due::Policy> watched = strict;
  strict.reset();
  std::promise<void> replaced;
  ledger_->ReplaceRules(std::move(rules), [&replaced](const Result<void>& result) {
    EXPECT_TRUE(result.has_value());
    replaced.set_value();
  });
  replaced.get_future().wait();
  EXPECT_FALSE(watched.expired());
  RemapOrder order = Sending();
  order.open_only = true;
  EXPECT_THAT(NamesOf(All(order)), Not(IsEmpty()));
  Deliver();
  clock_.Set(Hour(1.5));
  ASSERT_TRUE(CatchUp().has_value());
  EXPECT_THAT(TextsIn(Deliver()),
              testing::Contains(testing::Pair(testing::_, HasSubstr("due-soon"))))
      << "half an hour before the new limit";
}

TEST_F(Remapping, LinesThatAreOverAreLeftOutWhenAskedSo) {
  Open();
  Store(Insertion("e1", 0));
  Store(Removal("e2", 1));
  Deliver();
  RemapOrder order = Sending();
  order.open_only = true;
  EXPECT_EQ(All(order).chosen, 1U) << "its site is watched still";
  clock_.Set(Hour(200));
  ASSERT_EQ(CatchUp().value(), std::nullopt);
  EXPECT_EQ(All(order).chosen, 0U);
  EXPECT_EQ(Look().chosen, 1U);
}

TEST_F(Remapping, AChangedPolicySendsTasksAloneAndTheClockGoesByItAtOnce) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  due::Policy strict = PracticePolicy();
  strict.version = "2";
  strict.by_kind["peripheral-cannula"].dwell_max = std::chrono::hours(2);
  strict.by_kind["peripheral-cannula"].check_rounds.clear();
  UsePolicy(strict);
  const RemapPage sent = Send();
  const Names names = NamesOf(sent);
  ASSERT_THAT(names, Not(IsEmpty()));
  for (const std::string& name : names) EXPECT_TRUE(name.starts_with("Task/")) << name;
  EXPECT_EQ(NamesIn(Deliver()), names);
  EXPECT_THAT(Send().lines, IsEmpty());
  clock_.Set(Hour(1.5));
  const auto next = CatchUp();
  ASSERT_TRUE(next.has_value());
  EXPECT_THAT(Deliver(), SizeIs(1)) << "due soon, two hours after the insertion";
}

TEST_F(Remapping, WhatOnlyTheTimeOfMakingTellsApartIsTheSame) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  const codes::CodeMap map = MapWith("heparinised-saline");
  UseMap(map);
  clock_.Set(Hour(0.1));
  EXPECT_THAT(Look().lines, IsEmpty()) << "Tasks are modified later and say nothing else";
  EXPECT_GT(Look().same, 0U);
}

TEST_F(Remapping, ADeliveryOnHoldIsToldAndStaysBefore) {
  Open();
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  HoldAll();
  const codes::CodeMap map = MapWith("sodium-chloride-0.9");
  UseMap(map);
  const RemapPage sent = Send();
  ASSERT_THAT(sent.lines, SizeIs(1));
  EXPECT_EQ(sent.lines[0].waiting, 2U);
  EXPECT_EQ(sent.lines[0].on_hold, 1U);
  EXPECT_THAT(sent.lines[0].bundle_seqs, testing::ElementsAre(3));
  EXPECT_THAT(Deliver(), IsEmpty()) << "nothing overtakes what is on hold";
}

TEST_F(Remapping, WhatIsNoLongerKeptIsSentToBeSure) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  ASSERT_TRUE(OnStore([](store::Store& store) -> Result<void> {
                const auto removed = store.RemoveBodies(Hour(1000), 10);
                if (removed.has_error()) return removed.error();
                EXPECT_EQ(*removed, 1U);
                return {};
              }).has_value());
  const codes::CodeMap map = MapWith("heparinised-saline");
  UseMap(map);
  const RemapPage looked = Look();
  ASSERT_THAT(looked.lines, SizeIs(1));
  EXPECT_EQ(looked.same, 0U);
  for (const Remapped& one : looked.lines[0].resources) {
    EXPECT_EQ(one.state, Remapped::State::kNotKept);
  }
}

TEST_F(Remapping, WhatWasGivenUpIsSentEvenIfItComesOutTheSame) {
  Open();
  Store(Insertion("e1", 0));
  HoldAll();
  std::promise<void> told;
  Order cancel;
  cancel.act = Act::kCancelled;
  cancel.target = "1";
  cancel.by = "op-3";
  cancel.why = "by hand";
  ledger_->Decide(std::move(cancel), [&told](const Result<Ruling>&) { told.set_value(); });
  told.get_future().wait();
  const RemapPage sent = Send();
  ASSERT_THAT(sent.lines, SizeIs(1));
  for (const Remapped& one : sent.lines[0].resources) {
    EXPECT_EQ(one.state, Remapped::State::kGivenUp);
  }
  EXPECT_EQ(NamesIn(Deliver()), NamesOf(sent));
}

TEST_F(Remapping, OnlyTheLinesThatAreMeantAreTouched) {
  Open();
  Store(Insertion("e1", 0));
  Store(Flush("e2", 1));
  Store(Insertion("f1", 1, "line-2"));
  Store(Flush("f2", 2, "line-2"));
  Deliver();
  const codes::CodeMap map = MapWith("sodium-chloride-0.9");
  UseMap(map);
  RemapOrder order = Sending();
  order.ward = "birch";
  EXPECT_EQ(All(order).chosen, 0U);
  order.ward = "alder";
  order.line_id = "line-2";
  const RemapPage sent = All(order);
  EXPECT_EQ(sent.chosen, 1U);
  ASSERT_THAT(sent.lines, SizeIs(1));
  EXPECT_EQ(sent.lines[0].key.line_id, "line-2");
  order.source = "nobody";
  EXPECT_EQ(All(order).chosen, 0U);
  EXPECT_THAT(NamesOf(Look()), Not(IsEmpty())) << "line-1 is still as it was";
}

}  // namespace
}  // namespace dwell::ledger
