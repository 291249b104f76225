// A line's life: where it stands, and what late, corrected and retracted events do to it.
#include "mapping/line/line.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include "tests/mapping/samples.h"

namespace dwell::line {
namespace {

using namespace samples;  // NOLINT: the words of this test
using testing::ElementsAre;

std::vector<std::string> Ids(const Line& line) {
  std::vector<std::string> ids;
  for (const auto& entry : line.entries) ids.push_back(entry.event->id);
  return ids;
}

/// Everything that Derive() decides, as text.
std::string Facts(const Line& line) {
  std::string facts = line.patient.value + "/" + line.place().ward + "/" +
                      std::to_string(static_cast<int>(line.phase)) + "/" +
                      std::to_string(line.insertion_index) + "/" +
                      std::to_string(line.removal_index);
  for (const auto& entry : line.entries) {
    facts += "\n" + entry.event->id + " " + std::to_string(static_cast<int>(entry.standing)) + " " +
             entry.root_id + " " + entry.undone_by;
  }
  return facts;
}

TEST(Line, GoesFromUnknownOverInPlaceToRemoved) {
  EXPECT_EQ(LineOf({Graded("c", Hours(4), 0)}).phase, Phase::kUnknown);
  EXPECT_EQ(LineOf({Attempt("a", Hours(-1))}).phase, Phase::kNotPlaced);
  EXPECT_EQ(LineOf({Attempt("a", Hours(-1)), Graded("c", Hours(4), 0)}).phase, Phase::kUnknown);
  EXPECT_EQ(LineOf({Attempt("a", Hours(-1)), Insertion("i", Hours(0))}).phase, Phase::kInPlace);
  EXPECT_EQ(LineOf({Insertion("i", Hours(0)), Removal("r", Hours(5))}).phase, Phase::kRemoved);
  EXPECT_EQ(LineOf({Removal("r", Hours(5))}).phase, Phase::kUnknown);
}

TEST(Line, EveryOutcomeButPlacedLeavesTheLineNotPlaced) {
  for (auto outcome :
       {event::Outcome::kFailed, event::Outcome::kDeclined, event::Outcome::kNotAttempted}) {
    const Line line = LineOf({Attempt("a", Hours(0), outcome)});
    EXPECT_EQ(line.phase, Phase::kNotPlaced);
    EXPECT_EQ(line.insertion(), nullptr);
  }
}

TEST(Line, KeepsEventsByTheTimeTheyHappenedThenWereRecordedThenById) {
  auto late = Flush("f", Hours(2));
  late.recorded_at = Hours(30);
  auto same_time_later_record = Flush("a", Hours(2));
  same_time_later_record.recorded_at = Hours(40);
  const Line line = LineOf({Removal("r", Hours(20)), same_time_later_record, late,
                            Flush("b", Hours(3)), Flush("a2", Hours(3)), Insertion("i", Hours(0))});
  EXPECT_THAT(Ids(line), ElementsAre("i", "f", "a", "a2", "b", "r"));
}

TEST(Line, TakesWardFromTheNewestEventInForce) {
  auto moved = Graded("c", Hours(4), 0);
  moved.place.ward = "ward-b";
  auto retraction = Retraction("x", Hours(9), "c");
  retraction.place.ward = "ward-c";
  EXPECT_EQ(LineOf({Insertion("i", Hours(0)), moved}).place().ward, "ward-b");
  EXPECT_EQ(LineOf({Insertion("i", Hours(0)), moved, retraction}).place().ward, "ward-a");
  EXPECT_EQ(LineOf({moved, retraction}).place().ward, "ward-b") << "nothing else is known";
}

TEST(Line, AReplacementCountsInPlaceOfWhatItReplaces) {
  const Line line = LineOf({Insertion("i", Hours(0)), Graded("c", Hours(4), 3),
                            Replacing("c", Graded("c2", Hours(4), 1))});
  EXPECT_EQ(line.Find("c")->standing, Standing::kReplaced);
  EXPECT_EQ(line.Find("c")->undone_by, "c2");
  EXPECT_EQ(line.Find("c2")->standing, Standing::kInForce);
  EXPECT_EQ(line.Find("c2")->root_id, "c");
}

TEST(Line, AChainOfReplacementsKeepsTheIdentityOfItsFirstEvent) {
  const Line line = LineOf({Replacing("i2", Insertion("i3", Hours(2))), Insertion("i", Hours(0)),
                            Replacing("i", Insertion("i2", Hours(1)))});
  EXPECT_EQ(line.insertion()->event->id, "i3");
  EXPECT_EQ(line.insertion()->root_id, "i");
  EXPECT_EQ(line.Find("i2")->standing, Standing::kReplaced);
}

TEST(Line, AReplacementThatComesFirstAlreadyHasTheIdentityOfItsTarget) {
  const Line early = LineOf({Replacing("i", Insertion("i2", Hours(0)))});
  EXPECT_EQ(early.insertion()->root_id, "i");
  const Line whole = LineOf({Replacing("i", Insertion("i2", Hours(0))), Insertion("i", Hours(1))});
  EXPECT_EQ(whole.insertion()->event->id, "i2");
  EXPECT_EQ(whole.Find("i")->standing, Standing::kReplaced);
}

TEST(Line, ACorrectedTimeIsJudgedInItsPlace) {
  // The check at hour 1 is legal only because the insertion was corrected from hour 2 to hour 0.
  EXPECT_TRUE(Derived({Insertion("i", Hours(2)), Replacing("i", Insertion("i2", Hours(0))),
                       Graded("c", Hours(1), 0)})
                  .has_value());
  // And the other way round: correcting the removal to an earlier time puts a flush after it.
  const auto broken = Derived({Insertion("i", Hours(0)), Removal("r", Hours(20)),
                               Replacing("r", Removal("r2", Hours(10))), Flush("f", Hours(15))});
  ASSERT_FALSE(broken.has_value());
  EXPECT_EQ(broken.error().rule, "after-removal");
  EXPECT_EQ(broken.error().event_id, "f");
}

TEST(Line, ARetractionTakesItsEventOutOfForce) {
  const Line line = LineOf({Insertion("i", Hours(0)), Removal("r", Hours(9)),
                            Retraction("x", Hours(10), "r"), Flush("f", Hours(11))});
  EXPECT_EQ(line.phase, Phase::kInPlace);
  EXPECT_EQ(line.Find("r")->standing, Standing::kRetracted);
  EXPECT_EQ(line.Find("r")->undone_by, "x");
}

TEST(Line, ARetractedInsertionLeavesItsChecksToAnUnknownLine) {
  const Line line =
      LineOf({Insertion("i", Hours(0)), Graded("c", Hours(4), 0), Retraction("x", Hours(5), "i")});
  EXPECT_FALSE(line.is_taken_back()) << "somebody looked at it";
  EXPECT_EQ(line.phase, Phase::kUnknown);
  EXPECT_EQ(line.insertion(), nullptr);
}

TEST(Line, ARetractionThatComesFirstWaitsForItsEvent) {
  EXPECT_EQ(LineOf({Retraction("x", Hours(5), "i")}).phase, Phase::kUnknown);
  EXPECT_FALSE(LineOf({Retraction("x", Hours(5), "i")}).is_taken_back());
  const Line line = LineOf({Retraction("x", Hours(5), "i"), Insertion("i", Hours(0))});
  EXPECT_TRUE(line.is_taken_back());
  EXPECT_EQ(line.Find("i")->standing, Standing::kRetracted);
}

TEST(Line, RetractingTheNewestVersionDoesNotBringTheOldOneBack) {
  const Line line = LineOf({Insertion("i", Hours(0)), Replacing("i", Insertion("i2", Hours(1))),
                            Retraction("x", Hours(5), "i2")});
  EXPECT_EQ(line.Find("i")->standing, Standing::kReplaced);
  EXPECT_EQ(line.Find("i2")->standing, Standing::kRetracted);
  EXPECT_EQ(line.insertion(), nullptr);
}

TEST(Line, AWrongCorrectionCanBeRetractedAndCorrectedAgain) {
  auto again = Replacing("i", Insertion("i3", Hours(2)));
  again.recorded_at = Hours(6);
  const Line line = LineOf({Insertion("i", Hours(0)), Replacing("i", Insertion("i2", Hours(1))),
                            Retraction("x", Hours(5), "i2"), again});
  EXPECT_EQ(line.insertion()->event->id, "i3");
  EXPECT_EQ(line.insertion()->root_id, "i");
  EXPECT_EQ(line.Find("i")->undone_by, "i3");
}

TEST(Line, ACorrectedRetractionCountsOnlyAsCorrected) {
  const Line line =
      LineOf({Insertion("i", Hours(0)), Graded("c1", Hours(4), 0), Graded("c2", Hours(8), 0),
              Retraction("x", Hours(9), "c1"), Replacing("x", Retraction("x2", Hours(9), "c2"))});
  EXPECT_EQ(line.Find("c1")->standing, Standing::kInForce);
  EXPECT_EQ(line.Find("c2")->standing, Standing::kRetracted);
}

TEST(Line, AnEntryForTheWrongPatientIsRetractedAndEnteredAnew) {
  auto wrong = Insertion("i", Hours(0));
  wrong.patient.value = "9990000026";
  auto retraction = Retraction("x", Hours(1), "i");
  retraction.patient = wrong.patient;
  const Line line = LineOf({wrong, retraction, Insertion("j", Hours(0))});
  EXPECT_EQ(line.patient.value, "9990000018");
  EXPECT_EQ(line.insertion()->event->id, "j");
}

TEST(Line, SiteChecksAreLegalUntilTheWatchAfterRemovalEnds) {
  EXPECT_TRUE(
      Derived({Insertion("i", Hours(0)), Removal("r", Hours(10)), Graded("c", Hours(58), 0)})
          .has_value())
      << "48 h after removal: outcome window of Rickard et al., Lancet 2012;380:1066-74";
  EXPECT_FALSE(
      Derived({Insertion("i", Hours(0)), Removal("r", Hours(10)), Graded("c", Hours(58.001), 0)})
          .has_value());
}

/// A line with something of everything; the order is that of happening.
std::vector<event::Event> WholeLife() {
  auto second_correction = Replacing("c1b", Graded("c1c", Hours(4), 1));
  second_correction.recorded_at = Hours(7);
  return {Attempt("a", Hours(-1)),
          Insertion("i", Hours(0)),
          Replacing("i", Insertion("i2", Hours(0.5))),
          Graded("c1", Hours(4), 0),
          Replacing("c1", Graded("c1b", Hours(4), 2)),
          second_correction,
          Flush("f", Hours(6)),
          Graded("c2", Hours(12), 1),
          Retraction("x1", Hours(13), "f"),
          DressingChange("d", Hours(20)),
          Removal("r", Hours(30)),
          Replacing("r", Removal("r2", Hours(29))),
          Graded("p", Hours(50), 0),
          Retraction("x2", Hours(51), "p")};
}

TEST(Line, TheSameEventsGiveTheSameLineInEveryOrderOfArrival) {
  const std::string expected = Facts(LineOf(WholeLife()));
  for (unsigned seed = 0; seed < 500; ++seed) {
    auto events = WholeLife();
    std::mt19937 random(seed);
    std::shuffle(events.begin(), events.end(), random);
    ASSERT_EQ(Facts(LineOf(events)), expected) << "seed " << seed;
  }
}

// Whatever came so far, in whatever order: the set alone decides, for contradictions too.
TEST(Line, AfterEachArrivalOnlyTheSetOfEventsCounts) {
  const auto text = [](const Result<Line, Contradiction>& derived) {
    return derived ? Facts(*derived) : derived.error().rule + " " + derived.error().event_id;
  };
  for (unsigned seed = 0; seed < 100; ++seed) {
    auto events = WholeLife();
    std::mt19937 random(seed);
    std::shuffle(events.begin(), events.end(), random);
    for (std::size_t count = 1; count <= events.size(); ++count) {
      std::vector<event::Event> arrived(events.begin(),
                                        events.begin() + static_cast<std::ptrdiff_t>(count));
      const std::string one = text(Derived(arrived));
      std::shuffle(arrived.begin(), arrived.end(), random);
      ASSERT_EQ(text(Derived(arrived)), one) << "seed " << seed << ", " << count << " events";
    }
  }
}

}  // namespace
}  // namespace dwell::line
