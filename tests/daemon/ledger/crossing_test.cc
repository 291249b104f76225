// A correction or retraction and its target on two lines: whichever comes first, the other is
// refused, so that nothing entered in error stays in force unnoticed.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using namespace test;  // NOLINT: the words of this test

class Crossing : public LedgerRig {
 protected:
  Crossing() { clock_.Set(Hour(9)); }
  void ExpectRefused(const Sketch& sketch, const char* pointer, const char* other) {
    const std::uint64_t before = Counts().events;
    const Receipt receipt = Send(sketch);
    EXPECT_EQ(receipt.answer, Answer::kContradiction) << sketch.id;
    EXPECT_EQ(receipt.contradiction.rule, "other-line") << sketch.id;
    EXPECT_EQ(receipt.contradiction.pointer, pointer) << sketch.id;
    EXPECT_EQ(receipt.contradiction.event_id, sketch.id);
    EXPECT_THAT(receipt.contradiction.expected, HasSubstr(other)) << sketch.id;
    EXPECT_EQ(Counts().events, before);
  }
  void ExpectStored(const Sketch& sketch) {
    const Receipt receipt = Send(sketch);
    EXPECT_EQ(receipt.answer, Answer::kStored)
        << sketch.id << " " << receipt.contradiction.rule << receipt.why;
  }
  static Sketch OnLine(const char* line_id, Sketch sketch) {
    sketch.line_id = line_id;
    return sketch;
  }
};

TEST_F(Crossing, WhatNamesAnEventOfAnotherLineIsRefused) {
  Open();
  ExpectStored(Insertion("i1", 0));
  ExpectStored(SiteCheck("c1", 1));
  ExpectStored(Insertion("i2", 0, "line-2"));
  ExpectRefused(OnLine("line-2", Retraction("r", 2, "c1")), "/retracts", "c1");
  ExpectRefused(Replacing(SiteCheck("c2", 1, 0, "line-2"), "c1"), "/replaces", "c1");
  ExpectRefused(OnLine("line-3", Retraction("r", 2, "c1")), "/retracts", "c1");
  ExpectStored(Retraction("r", 2, "c1"));
}

TEST_F(Crossing, AnEventThatAnotherLineNamedBeforeItCameIsRefused) {
  Open();
  ExpectStored(Insertion("i1", 0));
  ExpectStored(Retraction("r", 2, "c1"));
  ExpectStored(Replacing(SiteCheck("d2", 3), "d1"));
  Reopen();
  ExpectRefused(SiteCheck("c1", 1, 0, "line-2"), "/line_id", "the line of r");
  ExpectRefused(SiteCheck("d1", 1, 0, "line-2"), "/line_id", "the line of d2");
  ExpectRefused(OnLine("line-2", Retraction("r2", 2, "c1")), "/retracts", "named by r");
  // On the line that waits for them they are what they should be, and then nothing waits.
  ExpectStored(SiteCheck("c1", 1));
  ExpectStored(SiteCheck("d1", 3));
  OnStore([](store::Store& store) -> Result<void> {
    for (const char* id : {"c1", "d1"}) {
      EXPECT_FALSE(store.AwaitedBy("ward-tablets", id).value().has_value()) << id;
    }
    return {};
  }).has_value();
}

TEST_F(Crossing, InOneSubmissionTheyAreSeenToo) {
  Open();
  const auto receipts =
      SendAll({Raw(OnLine("line-2", Retraction("r", 2, "c1"))), Raw(SiteCheck("c1", 1))});
  EXPECT_EQ(receipts[0].answer, Answer::kStored);
  EXPECT_EQ(receipts[1].contradiction.rule, "other-line");
}

TEST_F(Crossing, ARetractionThatWasReplacedKeepsNothingOut) {
  Open();
  ExpectStored(Retraction("r1", 2, "c1"));
  ExpectStored(Replacing(Retraction("r2", 2, "c2"), "r1"));
  ExpectStored(SiteCheck("c1", 1, 0, "line-2"));
  ExpectRefused(SiteCheck("c2", 1, 0, "line-2"), "/line_id", "the line of r2");
}

TEST_F(Crossing, TheSameIdsOfAnotherSourceAreOtherEvents) {
  Open();
  ExpectStored(Retraction("r", 2, "c1"));
  std::string raw = Raw(SiteCheck("c1", 1, 0, "line-2"));
  raw.replace(raw.find("ward-tablets"), 12, "ward-laptops");
  EXPECT_EQ(SendAll({raw})[0].answer, Answer::kStored);
}

TEST_F(Crossing, ALineThatCanNoLongerBeReadMeansNotNow) {
  Open();
  ExpectStored(Retraction("r", 2, "c1"));
  ASSERT_TRUE(OnStore([](store::Store& store) -> Result<void> {
                store::EventRecord broken;
                broken.source = "ward-tablets";
                broken.id = "broken";
                broken.raw = "{";
                const auto added = store.AddEvent(broken, 1);
                if (added.has_error()) return added.error();
                return {};
              }).has_value());
  EXPECT_EQ(Send(SiteCheck("c1", 1, 0, "line-2")).answer, Answer::kNotNow);
}

}  // namespace
}  // namespace dwell::ledger
