// Every rule between the events of a line, broken once, and the nearest case that keeps it.
// Source: the rules between events of the contract, version 1 (design of the event contract).
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "mapping/line/line.h"
#include "tests/mapping/samples.h"

namespace dwell::line {
namespace {

using namespace samples;  // NOLINT: the words of this test
using Events = std::vector<event::Event>;

event::Event ForPatient(std::string value, event::Event e) {
  e.patient.value = std::move(value);
  return e;
}

event::Event Recorded(double hours, event::Event e) {
  e.recorded_at = Hours(hours);
  return e;
}

event::Event Lasting(double hours, event::Event e) {
  e.happened_until = Hours(hours);
  return e;
}

struct Broken {
  const char* name;
  Events events;
  const char* rule;
  const char* event_id;
  const char* pointer;
  const char* names;  ///< id of the other event, in `expected`
};

const event::Event kI = Insertion("i", Hours(0));

TEST(Rules, EachIsBrokenByItsExampleAndSaysWhereAndWhy) {
  const Broken table[] = {
      {"an event replaces itself",
       {kI, Replacing("c", Graded("c", Hours(1), 0))},
       "replaces-in-a-circle",
       "c",
       "/replaces",
       "c"},
      {"two events replace each other",
       {kI, Replacing("d", Graded("c", Hours(1), 0)), Replacing("c", Graded("d", Hours(1), 0))},
       "replaces-in-a-circle",
       "c",
       "/replaces",
       "d"},
      {"a flush replaces a check",
       {kI, Graded("c", Hours(1), 0), Replacing("c", Flush("f", Hours(1)))},
       "replaces-other-kind",
       "f",
       "/replaces",
       "c"},
      {"two corrections of one event",
       {kI, Graded("c", Hours(1), 0), Replacing("c", Graded("d", Hours(1), 0)),
        Recorded(9, Replacing("c", Graded("e", Hours(1), 0)))},
       "replaced-twice",
       "e",
       "/replaces",
       "d"},
      {"a second correction of an event corrected twice already",
       {kI, Graded("c", Hours(1), 0), Replacing("c", Graded("d", Hours(1), 0)),
        Recorded(8, Replacing("d", Graded("e", Hours(1), 0))),
        Recorded(9, Replacing("c", Graded("z", Hours(1), 0)))},
       "replaced-twice",
       "z",
       "/replaces",
       "e"},
      {"a retraction of a retraction",
       {kI, Retraction("x", Hours(1), "i"), Retraction("y", Hours(2), "x")},
       "retracts-a-retraction",
       "y",
       "/retracts",
       "x"},
      {"a second retraction",
       {kI, Retraction("x", Hours(1), "i"), Retraction("y", Hours(2), "i")},
       "already-retracted",
       "y",
       "/retracts",
       "x"},
      {"a correction of a retracted event",
       {kI, Retraction("x", Hours(1), "i"), Recorded(2, Replacing("i", Insertion("j", Hours(0))))},
       "replaces-retracted",
       "j",
       "/replaces",
       "i"},
      {"a retraction of a corrected event",
       {kI, Replacing("i", Insertion("j", Hours(0))), Retraction("x", Hours(2), "i")},
       "retracts-replaced",
       "x",
       "/retracts",
       "j"},
      {"two insertions", {kI, Insertion("j", Hours(1))}, "second-insertion", "j", "/outcome", "i"},
      {"two removals",
       {kI, Removal("r", Hours(1)), Removal("s", Hours(2))},
       "second-removal",
       "s",
       "/kind",
       "r"},
      {"a check before the insertion",
       {kI, Graded("c", Hours(-0.001), 0)},
       "before-insertion",
       "c",
       "/happened_at",
       "i"},
      {"a removal before the insertion",
       {kI, Removal("r", Hours(-1))},
       "before-insertion",
       "r",
       "/happened_at",
       "i"},
      {"a flush that began before the insertion",
       {kI, Lasting(1, Flush("f", Hours(-1)))},
       "before-insertion",
       "f",
       "/happened_from",
       "i"},
      {"a flush after the removal",
       {kI, Removal("r", Hours(1)), Flush("f", Hours(1.001))},
       "after-removal",
       "f",
       "/happened_at",
       "r"},
      {"a flush after the removal of an unknown line",
       {Removal("r", Hours(1)), Flush("f", Hours(2))},
       "after-removal",
       "f",
       "/happened_at",
       "r"},
      {"a dressing within the watch time",
       {kI, Removal("r", Hours(1)), DressingChange("d", Hours(2))},
       "after-removal",
       "d",
       "/happened_at",
       "r"},
      {"a check after the watch time",
       {kI, Removal("r", Hours(1)), Graded("c", Hours(50), 0)},
       "after-removal",
       "c",
       "/happened_at",
       "r"},
      {"a check of another patient",
       {kI, ForPatient("9990000026", Graded("c", Hours(1), 0))},
       "other-patient",
       "c",
       "/patient",
       "i"},
      {"a check of another patient on an unknown line",
       {Flush("f", Hours(0)), ForPatient("9990000026", Graded("c", Hours(1), 0))},
       "other-patient",
       "c",
       "/patient",
       "f"},
      {"a retraction for a third patient",
       {kI, ForPatient("9990000026", Retraction("x", Hours(1), "i"))},
       "other-patient",
       "x",
       "/patient",
       "i"},
  };
  for (const Broken& row : table) {
    const auto derived = Derived(row.events);
    ASSERT_FALSE(derived.has_value()) << row.name;
    EXPECT_EQ(derived.error().rule, row.rule) << row.name;
    EXPECT_EQ(derived.error().event_id, row.event_id) << row.name;
    EXPECT_EQ(derived.error().pointer, row.pointer) << row.name;
    EXPECT_THAT(derived.error().expected, testing::HasSubstr(row.names)) << row.name;
  }
}

TEST(Rules, TheNearestLegalCasesAreLegal) {
  const std::pair<const char*, Events> table[] = {
      {"at the instant of the insertion", {kI, Graded("c", Hours(0), 0)}},
      {"removed at once", {kI, Removal("r", Hours(0))}},
      {"at the instant of the removal", {kI, Removal("r", Hours(1)), Flush("f", Hours(1))}},
      {"a failed try before", {Attempt("a", Hours(-1)), kI}},
      {"a declined try while in place",
       {kI, Attempt("a", Hours(1), event::Outcome::kDeclined)}},
      {"a check within the watch", {kI, Removal("r", Hours(1)), Graded("c", Hours(49), 0)}},
      {"a retraction long after the removal",
       {kI, Graded("c", Hours(1), 0), Removal("r", Hours(2)), Retraction("x", Hours(900), "c")}},
      {"a correction long after the removal",
       {kI, Graded("c", Hours(1), 0), Removal("r", Hours(2)),
        Recorded(900, Replacing("c", Graded("d", Hours(1), 0)))}},
      {"a placed line corrected to a failed try", {kI, Replacing("i", Attempt("a", Hours(0)))}},
      {"two insertions, one retracted",
       {kI, Retraction("x", Hours(2), "i"), Insertion("j", Hours(1))}},
      {"two removals, one corrected away",
       {kI, Removal("r", Hours(1)), Replacing("r", Removal("s", Hours(2)))}},
      {"a retracted check of another patient",
       {kI, ForPatient("9990000026", Graded("c", Hours(1), 0)),
        ForPatient("9990000026", Retraction("x", Hours(2), "c"))}},
      {"the same patient with another second identifier",
       {kI, [] {
          auto e = Graded("c", Hours(1), 0);
          e.patient.second = event::Identifier{"https://hospital.example/mrn", "1"};
          return e;
        }()}},
      {"a retraction of an event that never comes", {kI, Retraction("x", Hours(1), "nothing")}},
      {"both the old and the new version retracted",
       {kI, Replacing("i", Insertion("j", Hours(0))), Retraction("x", Hours(2), "i"),
        Retraction("y", Hours(3), "j")}},
  };
  for (const auto& [name, events] : table) {
    const auto derived = Derived(events);
    EXPECT_TRUE(derived.has_value()) << name << ": " << (derived ? "" : derived.error().rule);
  }
}

// A contradiction goes to a sender and to logs: only ids of events may be in it.
TEST(Rules, NoPatientIsNamedInAContradiction) {
  const auto derived = Derived({kI, ForPatient("9990000026", Graded("c", Hours(1), 0))});
  ASSERT_FALSE(derived.has_value());
  EXPECT_THAT(derived.error().expected, testing::Not(testing::HasSubstr("999000")));
}

}  // namespace
}  // namespace dwell::line
