// The handover list: what a nurse reads at the change of shift.
#include "daemon/command/handover.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::command {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

Instant At(const char* text) { return ReadMoment(text)->instant; }

WardLine Read(const std::string& row) {
  const auto document = schemas::Document::Parse(row);
  EXPECT_TRUE(document) << row;
  return ReadWardLine(document->root());
}

const char* const kWhole =
    R"({"line_id":"L-1","patient":{"value":"9990000131"},"phase":"in-place","ward":"Alder",)"
    R"("bay":"2","bed":"7","kind":"peripheral-cannula",)"
    R"("site":{"place":"dorsum-of-hand","side":"left"},"since":"2026-03-01T09:00:00Z",)"
    R"("emergency":true,"last_check":"2026-03-02T06:10:00Z","last_grade":2,)"
    R"("last_grade_scale":"visual-infusion-phlebitis","dues":[)"
    R"({"rule":"removal-due","stage":"overdue","due_at":"2026-03-02T09:00:00Z"},)"
    R"({"rule":"remove-now","stage":"overdue","reason":"phlebitis-grade",)"
    R"("due_at":"2026-03-02T06:10:00Z"},)"
    R"({"rule":"site-check-due","stage":"not-yet-due","due_at":"2026-03-02T14:00:00Z",)"
    R"("forgotten_from":"2026-03-02T22:00:00Z"}]})";

Handover ListOf(std::vector<WardLine> lines) {
  Handover handover;
  handover.ward = "Alder";
  handover.zone = "Europe/London";
  handover.now = At("2026-03-02T12:00:00Z");
  handover.caught_up_to = handover.now;
  handover.lines = std::move(lines);
  handover.local_time = [](Instant at) { return ForTheEye(FormatInstant(at)); };
  return handover;
}

TEST(Handover, ARowSaysWhereSinceWhenUntilWhenAndWhatIsWrong) {
  const Handover handover = ListOf({Read(kWhole)});
  const HandoverRow row = RowOf(handover.lines.front(), handover);
  EXPECT_EQ(row.place, "2 7");
  EXPECT_EQ(row.patient, "9990000131");
  EXPECT_EQ(row.line, "peripheral-cannula, L-1");
  EXPECT_EQ(row.site, "dorsum-of-hand left");
  EXPECT_EQ(row.since, "Sun 1 Mar 09:00");
  EXPECT_EQ(row.out_by, "Mon 2 Mar 09:00");
  EXPECT_EQ(row.last_check, "Mon 2 Mar 06:10");
  EXPECT_EQ(row.grade, "2 visual-infusion-phlebitis");
  EXPECT_EQ(row.next_check, "Mon 2 Mar 14:00");
  EXPECT_EQ(row.concerns,
            "REMOVE NOW: phlebitis grade; to come out overdue since Mon 2 Mar 09:00; last grade 2; "
            "emergency insertion");
}

TEST(Handover, WhatNobodyToldIsNoData) {
  const Handover handover =
      ListOf({Read(R"({"line_id":"L-2","phase":"unknown","dues":[)"
                   R"({"rule":"insertion-record-missing","stage":"due"}]})")});
  const HandoverRow row = RowOf(handover.lines.front(), handover);
  EXPECT_EQ(row.place, "no data");
  EXPECT_EQ(row.patient, "no data");
  EXPECT_EQ(row.line, "no data, L-2");
  EXPECT_EQ(row.site, "no data");
  EXPECT_EQ(row.since, "no data");
  EXPECT_EQ(row.out_by, "no data");
  EXPECT_EQ(row.last_check, "none told");
  EXPECT_EQ(row.grade, "no data");
  EXPECT_EQ(row.next_check, "no data");
  EXPECT_EQ(row.concerns, "nobody told of the insertion");
}

TEST(Handover, ACheckWithoutAGradeIsNotGradeZero) {
  const Handover handover =
      ListOf({Read(R"({"phase":"in-place","last_check":"2026-03-02T06:10:00Z","last_grade":null})"),
              Read(R"({"phase":"in-place","last_check":"2026-03-02T06:10:00Z","last_grade":0})")});
  EXPECT_EQ(RowOf(handover.lines[0], handover).grade, "not graded");
  EXPECT_EQ(RowOf(handover.lines[1], handover).grade, "0");
}

TEST(Handover, ASilentPolicyIsSaidToBeSilent) {
  const Handover handover = ListOf({Read(R"({"phase":"in-place","dues":[)"
                                         R"({"rule":"policy-missing","stage":"due"}]})")});
  const HandoverRow row = RowOf(handover.lines.front(), handover);
  EXPECT_EQ(row.out_by, "no limit set");
  EXPECT_EQ(row.next_check, "none set");
  EXPECT_EQ(row.concerns, "the policy has no rules for it");
}

TEST(Handover, AnOldSiteIsWatchedAfterTheRemoval) {
  const Handover handover = ListOf({Read(
      R"({"phase":"removed","removed_at":"2026-03-01T12:00:00Z","dues":[)"
      R"({"rule":"post-removal-watch","stage":"due-soon","due_at":"2026-03-03T12:00:00Z"}]})")});
  const HandoverRow row = RowOf(handover.lines.front(), handover);
  EXPECT_EQ(row.out_by, "out Sun 1 Mar 12:00");
  EXPECT_EQ(row.next_check, "Tue 3 Mar 12:00");
  EXPECT_THAT(HandoverText(handover), HasSubstr("0 in place, 1 removed and still to be looked at"));
}

struct ConcernRow {
  const char* line;
  std::vector<std::string> concerns;
};

TEST(Handover, ConcernsAreSaidInWords) {
  const ConcernRow rows[] = {
      {R"({"phase":"in-place","last_grade":0,"dues":[{"rule":"removal-due","stage":"due-soon"}]})",
       {}},
      {R"({"phase":"unreadable"})",
       {"its events can no longer be read: look at the patient, tell operations"}},
      {R"({"phase":"in-place","dues":[{"rule":"site-check-due","stage":"overdue",)"
       R"("due_at":"2026-03-01T22:00:00Z","forgotten_from":"2026-03-02T12:00:00Z"}]})",
       {"NO CHECK IN TWICE ITS INTERVAL", "check overdue since Sun 1 Mar 22:00"}},
      {R"({"phase":"in-place","dues":[{"rule":"dressing-change-due","stage":"due",)"
       R"("due_at":"2026-03-02T11:00:00Z"}]})",
       {"dressing due since Mon 2 Mar 11:00"}},
      {R"({"phase":"in-place","dues":[{"rule":"policy-missing","reason":"infusion-unknown"}]})",
       {"the policy does not know a name told (infusion-unknown)"}},
      {R"({"phase":"in-place","dues":[{"rule":"remove-now","reason":"no-longer-required"}]})",
       {"REMOVE NOW: no longer needed"}},
      {R"({"phase":"in-place","dues":[{"rule":"remove-now","reason":"a-reason-of-tomorrow"}]})",
       {"REMOVE NOW: a-reason-of-tomorrow"}},
  };
  for (const ConcernRow& row : rows) {
    const Handover handover = ListOf({Read(row.line)});
    EXPECT_EQ(ConcernsOf(handover.lines.front(), handover), row.concerns) << row.line;
  }
}

TEST(Handover, AListThatIsBehindTheClockSaysSo) {
  Handover handover = ListOf({});
  EXPECT_THAT(HandoverText(handover), Not(HasSubstr("NOT UP TO DATE")));
  handover.caught_up_to = handover.now - std::chrono::minutes(2);
  EXPECT_THAT(HandoverText(handover),
              HasSubstr("NOT UP TO DATE: what fell due has been looked at up to Mon 2 Mar 11:58"));
  EXPECT_THAT(HandoverHtml(handover), HasSubstr("<p class=\"warning\">NOT UP TO DATE"));
  handover.caught_up_to.reset();
  EXPECT_THAT(HandoverText(handover), HasSubstr("up to no time only"));
}

TEST(Handover, AListThatMissesASourceSaysSo) {
  Handover handover = ListOf({});
  EXPECT_THAT(HandoverText(handover), Not(HasSubstr("NOT COMPLETE")));
  handover.silent = {{"ward-tablets", "2026-03-02T06:10:00Z"}, {"<b>", "2026-03-01T23:00:00Z"}};
  EXPECT_THAT(HandoverText(handover),
              HasSubstr("\nNOT COMPLETE: nothing has come from ward-tablets since Mon 2 Mar 06:10, "
                        "from <b> since Sun 1 Mar 23:00; what was done there since then is not "
                        "known here\n"));
  EXPECT_THAT(HandoverHtml(handover), HasSubstr("<p class=\"warning\">NOT COMPLETE"));
  EXPECT_THAT(HandoverHtml(handover), HasSubstr("from &lt;b&gt; since"));
  handover.caught_up_to.reset();  // both are told
  EXPECT_THAT(HandoverText(handover), HasSubstr("NOT COMPLETE"));
  EXPECT_THAT(HandoverText(handover), HasSubstr("NOT UP TO DATE"));
}

TEST(Handover, AnEmptyListSaysWhatItIs) {
  EXPECT_THAT(HandoverText(ListOf({})), HasSubstr("No lines are known to be in place."));
  EXPECT_THAT(HandoverHtml(ListOf({})), HasSubstr("No lines are known to be in place."));
}

TEST(Handover, BothFormsCarryTheCaution) {
  for (const std::string& text : {HandoverText(ListOf({})), HandoverHtml(ListOf({}))}) {
    EXPECT_THAT(text, HasSubstr("sees neither the patient nor the site"));
    EXPECT_THAT(text, HasSubstr("registered practitioner come first"));
  }
}

TEST(Handover, WhatAWardWritesCannotChangeThePage) {
  const Handover handover = ListOf(
      {Read(R"({"phase":"in-place","ward":"Alder","bed":"<script>alert(1)</script>&\"x\""})")});
  const std::string html = HandoverHtml(handover);
  EXPECT_THAT(html, Not(HasSubstr("<script>")));
  EXPECT_THAT(html, HasSubstr("&lt;script&gt;alert(1)&lt;/script&gt;&amp;&quot;x&quot;"));
}

TEST(Handover, LinesInPlaceComeBeforeOldSites) {
  const Handover handover = ListOf(
      {Read(R"({"line_id":"L-old","phase":"removed","dues":[{"rule":"post-removal-watch"}]})"),
       Read(R"({"line_id":"L-in","phase":"in-place"})")});
  for (const std::string& list : {HandoverText(handover), HandoverHtml(handover)}) {
    EXPECT_LT(list.find("In place"), list.find("L-in"));
    EXPECT_LT(list.find("L-in"), list.find("Removed, and"));
    EXPECT_LT(list.find("Removed, and"), list.find("L-old"));
  }
}

TEST(Handover, WhatPressesIsMarkedOnThePage) {
  const Handover pressing = ListOf({Read(kWhole)});
  EXPECT_THAT(HandoverHtml(pressing), HasSubstr("<tr class=\"now\">"));
  const Handover calm = ListOf({Read(R"({"phase":"in-place","dues":[]})")});
  EXPECT_THAT(HandoverHtml(calm), Not(HasSubstr("<tr class=\"now\">")));
}

TEST(Handover, WritesTimesForTheEye) {
  EXPECT_EQ(ForTheEye("2026-03-29T03:30:00+01:00"), "Sun 29 Mar 03:30");
  EXPECT_EQ(ForTheEye("2028-02-29T23:59:59+00:00"), "Tue 29 Feb 23:59");
  EXPECT_EQ(ForTheEye("nonsense"), "nonsense");
}

}  // namespace
}  // namespace dwell::command
