// A disk that changes bits of what a line is derived from: noticed, told, and nothing else stops.
#include "daemon/ledger/damage.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"
#include "tests/support/flipped_bit.h"

namespace dwell::ledger {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using namespace test;  // NOLINT: the words of this test

class DamagedLine : public LedgerRig {
 protected:
  /// One bit of these bytes, wherever they stand in the file, is another from now on.
  void Damage(const std::string& bytes, std::size_t offset) {
    Close();
    FlipBit(path_, bytes, offset);
    Open();
  }
  void DamageEvent(const Sketch& sketch) { Damage(Raw(sketch), Raw(sketch).find("999000")); }
  store::LineRecord Line(const std::string& line_id = "line-1") {
    store::LineRecord line;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  line = *store.LoadLine(line::Key{"ward-tablets", line_id}).value();
                  return {};
                }).has_value());
    return line;
  }
  std::size_t DamagedLines() {
    std::size_t count = 0;
    EXPECT_TRUE(OnStore([&](store::Store& store) -> Result<void> {
                  count = store.DamagedLines(10).value().size();
                  return {};
                }).has_value());
    return count;
  }
  /// An event of a damaged line: stored, and nobody is told that all is well.
  void StoreUnderived(const Sketch& sketch) {
    clock_.Set(Hour(sketch.hours));
    const Receipt receipt = Send(sketch);
    ASSERT_EQ(receipt.answer, Answer::kStored) << receipt.why << receipt.contradiction.rule;
    EXPECT_FALSE(receipt.is_derived);
  }
};

TEST_F(DamagedLine, AnEventIsStoredAndNothingIsMadeOfALineWithADamagedEvent) {
  Open();
  Store(Insertion("e1", 0));
  Store(Insertion("other", 0, "line-2"));
  ASSERT_THAT(Deliver(), SizeIs(2));
  EXPECT_EQ(Send(Insertion("e1", 0)).is_derived, true);
  DamageEvent(Insertion("e1", 0));
  StoreUnderived(SiteCheck("e2", 5, 3));
  EXPECT_THAT(Deliver(), IsEmpty());
  EXPECT_EQ(Line().raw_events.size(), 2u) << "it is not lost";
  EXPECT_EQ(Line().damaged_since, Hour(5));
  EXPECT_EQ(DamagedLines(), 1u);
  const Receipt again = Send(SiteCheck("e2", 5, 3));
  EXPECT_EQ(again.answer, Answer::kRepeated);
  EXPECT_FALSE(again.is_derived) << "the repeat is told the same";
  EXPECT_EQ(Line().next_change, Hour(5) + limits::kLinePutOff) << "it is looked at again";
  Store(SiteCheck("other-2", 5, 3, "line-2"));
  EXPECT_THAT(Deliver(), SizeIs(1)) << "every other line goes on";
  EXPECT_FALSE(Line("line-2").damaged_since);
}

TEST_F(DamagedLine, TheClockMakesNothingOfADamagedLineAndMarksIt) {
  Open();
  Store(Insertion("e1", 0));
  Store(Insertion("other", 0, "line-2"));
  Deliver();
  DamageEvent(Insertion("e1", 0));
  clock_.Set(Hour(80));
  ASSERT_TRUE(CatchUp().has_value());
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_THAT(bodies[0], Not(HasSubstr("line-1")));
  EXPECT_EQ(Line().damaged_since, Hour(80));
  EXPECT_EQ(Line().next_change, Hour(80) + limits::kLinePutOff);
}

TEST_F(DamagedLine, TheDamagedEventSentOnceMoreTakesItsPlaceAndEverythingFollows) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  DamageEvent(Insertion("e1", 0));
  StoreUnderived(SiteCheck("e2", 5, 3));  // a grade at which the line must come out
  ASSERT_THAT(Deliver(), IsEmpty());
  EXPECT_EQ(Send(Insertion("e1", 0)).answer, Answer::kRepeated);
  EXPECT_EQ(Line().raw_events.at(0), Raw(Insertion("e1", 0)));
  ASSERT_TRUE(CatchUp().has_value());
  const auto bodies = Deliver();
  ASSERT_THAT(bodies, SizeIs(1));
  EXPECT_THAT(bodies[0], HasSubstr("remove-now"));
  EXPECT_FALSE(Line().damaged_since);
  EXPECT_EQ(DamagedLines(), 0u);
  Store(Flush("e3", 6));
  EXPECT_TRUE(Send(Flush("e3", 6)).is_derived);
}

TEST_F(DamagedLine, OtherContentUnderTheSameIdMendsNothing) {
  Open();
  Store(Insertion("e1", 0));
  DamageEvent(Insertion("e1", 0));
  Sketch other = Insertion("e1", 0);
  other.hours = 1;
  EXPECT_EQ(Send(other).answer, Answer::kConflict);
  EXPECT_NE(Line().raw_events.at(0), Raw(Insertion("e1", 0)));
}

TEST_F(DamagedLine, WhatTheStoreSaysOfALineIsNotBelievedWhenItIsDamaged) {
  Open();
  Store(Insertion("e1", 0));
  Deliver();
  const std::string summary = Line().summary;
  Damage(summary, summary.find("in-place"));
  EXPECT_TRUE(Line().damaged);
  StoreUnderived(SiteCheck("e2", 5, 3));
  StoreUnderived(SiteCheck("e3", 6, 3));
  EXPECT_THAT(Deliver(), IsEmpty());
  EXPECT_TRUE(Line().damaged) << "no later write makes it look whole";
  EXPECT_EQ(Line().events, 3u);
  EXPECT_EQ(DamagedLines(), 1u);
}

TEST_F(DamagedLine, AnEventThatIsNotFoundAnyMoreIsMissed) {
  Open();
  Store(Insertion("e1", 0));
  store::LineRecord line = Line();
  EXPECT_EQ(DamageOf(line), "");
  line.raw_events.clear();
  line.contents.clear();
  EXPECT_THAT(DamageOf(line), HasSubstr("not all stored events"));
  line.events.reset();
  EXPECT_EQ(DamageOf(line), "") << "an older version did not count";
}

}  // namespace
}  // namespace dwell::ledger
