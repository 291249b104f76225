// What an event names, and the words when that belongs to another line.
#include "mapping/line/targets.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/mapping/samples.h"

namespace dwell::line {
namespace {

using namespace samples;  // NOLINT: the words of this test
using testing::HasSubstr;

TEST(Targets, AreWhatReplacesAndRetractsName) {
  const event::Event plain = Insertion("i", Hours(0));
  EXPECT_EQ(TargetsOf(plain)[0].id, "");
  EXPECT_EQ(TargetsOf(plain)[1].id, "");
  const event::Event check = Replacing("a", Graded("b", Hours(1), 0));
  EXPECT_EQ(TargetsOf(check)[0].id, "a");
  EXPECT_EQ(TargetsOf(check)[0].pointer, "/replaces");
  const event::Event retraction = Replacing("q", Retraction("r", Hours(2), "x"));
  EXPECT_EQ(TargetsOf(retraction)[0].id, "q");
  EXPECT_EQ(TargetsOf(retraction)[1].id, "x");
  EXPECT_EQ(TargetsOf(retraction)[1].pointer, "/retracts");
}

TEST(Targets, ARetractionThatWasReplacedWaitsForNothing) {
  const auto derive = [](std::vector<event::Event> events) {
    std::vector<std::shared_ptr<const event::Event>> all;
    for (auto& one : events) all.push_back(std::make_shared<const event::Event>(std::move(one)));
    auto line = Derive({"s", "l"}, std::move(all), std::chrono::hours(48));
    EXPECT_TRUE(line.has_value());
    return std::move(*line);
  };
  const Line before = derive({Retraction("r", Hours(2), "x")});
  ASSERT_NE(WaitsFor(before, "x"), nullptr);
  EXPECT_EQ(WaitsFor(before, "x")->event->id, "r");
  EXPECT_EQ(WaitsFor(before, "y"), nullptr);
  const Line after =
      derive({Retraction("r", Hours(2), "x"), Replacing("r", Retraction("t", Hours(3), "y"))});
  EXPECT_EQ(WaitsFor(after, "x"), nullptr);
  EXPECT_EQ(WaitsFor(after, "y")->event->id, "t");
  // A correction that was corrected still says that the first version is not in force.
  const Line corrected =
      derive({Replacing("a", Graded("b", Hours(1), 0)), Replacing("b", Graded("c", Hours(1), 0))});
  EXPECT_EQ(WaitsFor(corrected, "a")->event->id, "b");
}

TEST(Targets, TheWordsNameTheRuleThePlaceAndTheOtherEvent) {
  const event::Event retraction = Retraction("r", Hours(2), "x");
  const Contradiction names = NamesOtherLine(retraction, TargetsOf(retraction)[1]);
  EXPECT_EQ(names.rule, "other-line");
  EXPECT_EQ(names.pointer, "/retracts");
  EXPECT_EQ(names.event_id, "r");
  EXPECT_THAT(names.expected, HasSubstr("x belongs to another line"));
  const Contradiction named = NamedByOtherLine(Insertion("i", Hours(0)), "r");
  EXPECT_EQ(named.pointer, "/line_id");
  EXPECT_THAT(named.expected, HasSubstr("the line of r"));
}

}  // namespace
}  // namespace dwell::line
