// Which line may go: the rule on lives, dues and ties made for each of its reasons.
#include "daemon/ledger/keeping.h"

#include <gtest/gtest.h>

#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::ledger {
namespace {

using namespace test;  // NOLINT: the words of this test

/// Nothing is in the way; each case then puts one thing there.
struct Case {
  const char* name;
  std::vector<Sketch> events;
  const char* why;
  store::Ties ties = {};
  bool given_up = false;
  double last_event_hours = 100;
  double now_hours = 24 * 500;
};

constexpr double kUntilHours = 1000;

store::Ties TiesWith(bool store::Ties::*member) {
  store::Ties ties;
  ties.*member = true;
  return ties;
}

store::Ties SettledAt(double hours) {
  store::Ties ties;
  ties.last_settled_at = Hour(hours);
  return ties;
}

std::string_view Judge(const Case& one) {
  const Shelf& shelf = Shelf::Get();
  std::vector<std::shared_ptr<const event::Event>> events;
  for (const Sketch& sketch : one.events) {
    events.push_back(Submit(shelf.schemas, Raw(sketch)).event);
  }
  const auto line = line::Derive({"ward-tablets", "line-1"}, events, std::chrono::days(365 * 100));
  if (line.has_error()) {
    ADD_FAILURE() << one.name << ": " << line.error().rule;
    return "illegal";
  }
  const auto dues = due::Compute(*line, shelf.policy, shelf.zone, Hour(one.now_hours));
  return WhyKept({*line, dues, Hour(one.last_event_hours), one.ties, one.given_up},
                 Hour(kUntilHours));
}

const Sketch kPlaced = Insertion("in", 0);
const Sketch kOut = Removal("out", 20);
const std::vector<Sketch> kLife{kPlaced, SiteCheck("look", 5), kOut};

Sketch NotPlaced(const char* outcome, const char* members = "") {
  return {"insertion", "try", 0,
          std::string(R"(,"outcome":")") + outcome + R"(","reason":"patient-declined")" + members};
}

TEST(Keeping, OnlyALineThatEndedLongAgoAndHangsOnNothingMayGo) {
  const std::vector<Case> cases{
      {"removed, with a watch that nobody looked at and that ended long ago", kLife, ""},
      {"removed, with the last look of the watch",
       {kPlaced, kOut, SiteCheck("watch", 20 + 48)},
       ""},
      {"removed, while the watch is still open", kLife, "due", {}, false, 100, 20 + 40},
      {"removed, the look of the watch due but not overdue", kLife, "due", {}, false, 100, 20 + 48},
      {"in place, with its dwell limit long past", {kPlaced}, "in-use"},
      {"told of by checks only", {SiteCheck("look", 5)}, "in-use"},
      {"removed without a known insertion", {kOut}, "in-use"},
      {"never placed: declined", {NotPlaced("declined")}, ""},
      {"placed after a decline", {NotPlaced("declined"), Insertion("in", 1)}, "in-use"},
      {"entered in error as a whole", {kPlaced, Retraction("undo", 3, "in")}, ""},
      {"insertion entered in error, a check in force",
       {kPlaced, SiteCheck("look", 2), Retraction("undo", 3, "in")},
       "in-use"},
      {"removal entered in error", {kPlaced, kOut, Retraction("undo", 30, "out")}, "in-use"},
      {"an event came too late", kLife, "recent", {}, false, kUntilHours + 0.001},
      {"an event came at the very instant", kLife, "", {}, false, kUntilHours},
      {"a delivery was settled too late", kLife, "recent", SettledAt(kUntilHours + 0.001)},
      {"a delivery was settled at the very instant", kLife, "", SettledAt(kUntilHours)},
      {"something open in its lane", kLife, "open-delivery", TiesWith(&store::Ties::open_delivery)},
      {"something cancelled that may have arrived", kLife, "perhaps-arrived",
       TiesWith(&store::Ties::perhaps_arrived)},
      {"it names an event that has not come", kLife, "awaits", TiesWith(&store::Ties::awaits)},
      {"something of it was given up", kLife, "given-up", {}, true},
  };
  for (const Case& one : cases) EXPECT_EQ(Judge(one), one.why) << one.name;
}

TEST(Keeping, ALineWhoseKindHasNoRulesIsWaitedForWhileItIsInPlaceOnly) {
  Sketch midline = kPlaced;
  midline.members = R"(,"outcome":"placed","line":{"kind":"midline","gauge":18},)"
                    R"("site":{"place":"upper-arm","side":"left"},"setting":"planned")";
  EXPECT_EQ(Judge({"in place", {midline}, ""}), "in-use");
  EXPECT_EQ(Judge({"removed", {midline, kOut}, ""}), "");
}

}  // namespace
}  // namespace dwell::ledger
