// The dues of a line's life. Figures: the default policy (deploy/config/policy-common-practice.toml
// names the source of each); kDayOne is 10:00 in London, in winter.
#include "mapping/due/due.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/mapping/due/sample_policy.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test
using testing::ElementsAre;
using testing::IsEmpty;

const event::Event kI = Insertion("i", Hours(0));

event::Event Emergency() {
  auto e = kI;
  std::get<event::Insertion>(e.body).emergency = true;
  return e;
}

event::Event Dressed(std::string id, double hours, std::string condition,
                     std::vector<event::Code> action = {}) {
  event::SiteCheck check;
  check.dressing.emplace() = {"gauze", std::move(condition)};
  check.action = std::move(action);
  return Check(std::move(id), Hours(hours), std::move(check));
}

event::Event OnWard(std::string ward, event::Event e) {
  e.place.ward = std::move(ward);
  return e;
}

TEST(Due, APlannedCannulaIsDueOutAfter72HoursAndAnEmergencyOneAfter24) {
  EXPECT_THAT(DuesAt(0, Rule::kRemoval, {kI}),
              ElementsAre("removal-due i 2026-02-05T10:00:00Z not-yet-due"));
  EXPECT_THAT(DuesAt(0, Rule::kRemoval, {Emergency()}),
              ElementsAre("removal-due i 2026-02-03T10:00:00Z not-yet-due"));
}

TEST(Due, StagesBeginExactlyAtTheirInstants) {
  const std::pair<double, const char*> table[] = {
      {70.999, "not-yet-due"}, {71, "due-soon"},  {71.999, "due-soon"}, {72, "due"},
      {72.499, "due"},         {72.5, "overdue"}, {2000, "overdue"}};
  for (const auto& [hours, stage] : table) {
    EXPECT_THAT(DuesAt(hours, Rule::kRemoval, {kI}),
                ElementsAre(std::string("removal-due i 2026-02-05T10:00:00Z ") + stage))
        << hours;
  }
}

TEST(Due, TheRemovalSettlesTheDwellLimitEvenWhenLate) {
  EXPECT_THAT(DuesAt(200, Rule::kRemoval, {kI, Removal("r", Hours(100))}),
              ElementsAre("removal-due i 2026-02-05T10:00:00Z settled by r"));
}

TEST(Due, EachSiteCheckSettlesTheOpenOneAndStartsTheNext) {
  EXPECT_THAT(
      DuesAt(20, Rule::kSiteCheck, {kI, Graded("c1", Hours(4.2), 0), Graded("c2", Hours(12.5), 0)}),
      ElementsAre("site-check-due i 2026-02-02T14:00:00Z settled by c1",
                  "site-check-due c1 2026-02-02T22:00:00Z settled by c2",
                  "site-check-due c2 2026-02-03T06:00:00Z due"));
}

TEST(Due, AMissedRoundStaysOneOverdueCheckUntilSomeoneLooks) {
  EXPECT_THAT(DuesAt(40, Rule::kSiteCheck, {kI}),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z overdue"));
  EXPECT_THAT(DuesAt(40, Rule::kSiteCheck, {kI, Graded("c", Hours(30), 0)}),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z settled by c",
                          "site-check-due c 2026-02-03T22:00:00Z overdue"));
}

TEST(Due, ACheckALittleBeforeARoundIsThatRoundsCheck) {
  const std::pair<double, const char*> table[] = {{2.99, "2026-02-02T14:00:00Z"},  // 12:59:24
                                                  {3, "2026-02-02T22:00:00Z"},     // 13:00
                                                  {3.9, "2026-02-02T22:00:00Z"},   // 13:54
                                                  {4, "2026-02-02T22:00:00Z"}};    // 14:00
  for (const auto& [hours, next] : table) {
    const auto dues = DuesAt(2, Rule::kSiteCheck, {kI, Graded("c", Hours(hours), 0)});
    EXPECT_THAT(dues, ElementsAre("site-check-due i 2026-02-02T14:00:00Z settled by c",
                                  std::string("site-check-due c ") + next + " not-yet-due"));
  }
}

TEST(Due, HourlyRoundsAreNotSkippedByTheHalfHourAfterEach) {
  const auto line = [](double hours) {
    return LineOf({OnWard("ward-hourly", kI), OnWard("ward-hourly", Graded("c", Hours(hours), 0))});
  };
  const std::pair<double, const char*> table[] = {
      {3.1, "2026-02-02T14:00:00Z"}, {3.49, "2026-02-02T14:00:00Z"}, {3.5, "2026-02-02T15:00:00Z"}};
  for (const auto& [hours, next] : table) {
    const auto dues =
        Only(Rule::kSiteCheck, Compute(line(hours), CommonPractice(), London(), Hours(3).instant));
    ASSERT_EQ(dues.size(), 2U);
    EXPECT_EQ(FormatInstant(dues[1].due_at), next) << hours;
  }
}

TEST(Due, AFlushIsNotASiteCheck) {
  EXPECT_THAT(DuesAt(5, Rule::kSiteCheck, {kI, Flush("f", Hours(4))}),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z overdue"));
}

TEST(Due, TheNightOfTheAutumnChangeHasNineHoursBetweenRounds) {
  const auto line = LineOf({Insertion("i", At("2026-10-24T12:00:00+01:00")),
                            Graded("c", At("2026-10-24T22:00:00+01:00"), 0)});
  const auto dues = Only(Rule::kSiteCheck, Compute(line, CommonPractice(), London(),
                                                   At("2026-10-25T05:00:00Z").instant));
  ASSERT_EQ(dues.size(), 2U);
  EXPECT_EQ(Text(dues[1]), "site-check-due c 2026-10-25T06:00:00Z due-soon");
  EXPECT_EQ(dues[1].due_at - dues[1].from, std::chrono::hours(9));
}

TEST(Due, RemovalEndsTheRoundsAndStartsTheWatch) {
  const std::vector<event::Event> events = {kI, Graded("c", Hours(4), 0), Removal("r", Hours(10))};
  EXPECT_THAT(DuesAt(11, Rule::kSiteCheck, events),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z settled by c",
                          "site-check-due c 2026-02-02T22:00:00Z no-longer-needed by r"));
  EXPECT_THAT(DuesAt(11, Rule::kPostRemovalWatch, events),
              ElementsAre("post-removal-watch r 2026-02-04T20:00:00Z not-yet-due"));
}

TEST(Due, TheWatchEndsWithALookNearItsEndAndAMissingOneStaysVisible) {
  const auto watch = [](double now, std::vector<event::Event> checks) {
    checks.push_back(kI);
    checks.push_back(Removal("r", Hours(10)));
    return DuesAt(now, Rule::kPostRemovalWatch, std::move(checks));
  };
  EXPECT_THAT(watch(40, {Graded("c", Hours(30), 0)}),
              ElementsAre("post-removal-watch r 2026-02-04T20:00:00Z not-yet-due"));
  EXPECT_THAT(watch(58, {Graded("c", Hours(57), 0)}),
              ElementsAre("post-removal-watch r 2026-02-04T20:00:00Z settled by c"));
  EXPECT_THAT(watch(900, {Graded("c", Hours(30), 0)}),
              ElementsAre("post-removal-watch r 2026-02-04T20:00:00Z overdue"));
}

TEST(Due, DressingsHaveALimitByTheirTypeAndAreDueAtOnceWhenNotIntact) {
  EXPECT_THAT(DuesAt(1, Rule::kDressing, {kI}),
              ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z not-yet-due"));
  EXPECT_THAT(DuesAt(1, Rule::kDressing, {kI, DressingChange("d", Hours(1), "gauze")}),
              ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z settled by d",
                          "dressing-change-due d 2026-02-04T11:00:00Z not-yet-due"));
  EXPECT_THAT(DuesAt(1, Rule::kDressing, {kI, DressingChange("d", Hours(1), "hydrocolloid")}),
              ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z settled by d",
                          "dressing-change-due d 2026-02-06T11:00:00Z not-yet-due"))
      << "another type: the default";
  EXPECT_THAT(DuesAt(4, Rule::kDressing, {kI, Dressed("c", 4, "loose")}),
              ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z no-longer-needed by c",
                          "dressing-change-due c 2026-02-02T14:00:00Z due"));
}

TEST(Due, ALooseDressingIsDueOnceUntilItIsChanged) {
  EXPECT_THAT(
      DuesAt(14, Rule::kDressing,
             {kI, Dressed("c1", 4, "loose"), Dressed("c2", 12, "damp"), Dressed("c3", 13, "intact"),
              DressingChange("d", Hours(14))}),
      ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z no-longer-needed by c1",
                  "dressing-change-due c1 2026-02-02T14:00:00Z settled by d",
                  "dressing-change-due c2 2026-02-02T22:00:00Z no-longer-needed by c1 (if issued)",
                  "dressing-change-due d 2026-02-10T00:00:00Z not-yet-due"));
}

TEST(Due, ADressingChangedDuringTheCheckIsAChange) {
  EXPECT_THAT(DuesAt(4, Rule::kDressing, {kI, Dressed("c", 4, "loose", {"redressed"})}),
              ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z settled by c",
                          "dressing-change-due c 2026-02-04T14:00:00Z not-yet-due"));
}

TEST(Due, EachTriggerAsksForRemovalAtOnce) {
  const auto with = [](auto change) {
    event::SiteCheck check;
    change(check);
    return Check("c", Hours(4), std::move(check));
  };
  const auto swollen = [](event::FlushGiven& flush) { flush.swelling = event::Finding::kPresent; };
  auto swollen_insertion = kI;
  swollen(std::get<event::Insertion>(swollen_insertion.body).flush.emplace());
  const std::pair<event::Event, const char*> table[] = {
      {Graded("c", Hours(4), 2), "phlebitis-grade"},
      {with([](auto& c) {
         c.grade.emplace() = {"visual-infusion-phlebitis", "1998", 1};
         c.signs.pain = c.signs.swelling = event::Finding::kPresent;
       }),
       "phlebitis-signs"},
      {with([](auto& c) { c.infiltration_grade = 1; }), "infiltration-grade"},
      {with([&](auto& c) { swollen(c.flush.emplace()); }), "swelling-on-flush"},
      {with([](auto& c) { c.still_needed = event::Answer::kNo; }), "no-longer-required"},
      {Flush("c", Hours(4), event::Finding::kPresent), "swelling-on-flush"},
  };
  for (const auto& [trigger, reason] : table) {
    EXPECT_THAT(DuesAt(4, Rule::kRemoveNow, {kI, trigger}),
                ElementsAre(std::string("remove-now c 2026-02-02T14:00:00Z due for ") + reason));
  }
  EXPECT_THAT(DuesAt(0, Rule::kRemoveNow, {swollen_insertion}),
              ElementsAre("remove-now i 2026-02-02T10:00:00Z due for swelling-on-flush"));
}

TEST(Due, NothingBelowItsThresholdAsksForRemoval) {
  event::SiteCheck quiet;
  quiet.grade.emplace() = {"visual-infusion-phlebitis", "1998", 1};
  quiet.signs.pain = event::Finding::kPresent;
  quiet.signs.erythema = event::Finding::kNotAssessable;
  quiet.infiltration_grade = 0;
  quiet.still_needed = event::Answer::kNotKnown;
  EXPECT_THAT(DuesAt(9, Rule::kRemoveNow, {kI, Check("c", Hours(4), quiet), Flush("f", Hours(5))}),
              IsEmpty());
}

TEST(Due, OneRemoveNowIsOpenAtATimeAndTheRemovalSettlesIt) {
  EXPECT_THAT(
      DuesAt(13, Rule::kRemoveNow,
             {kI, Graded("c1", Hours(4), 2), Graded("c2", Hours(12), 3), Removal("r", Hours(13))}),
      ElementsAre("remove-now c1 2026-02-02T14:00:00Z settled by r for phlebitis-grade",
                  "remove-now c2 2026-02-02T22:00:00Z no-longer-needed by c1 for "
                  "phlebitis-grade (if issued)"));
}

TEST(Due, AnUnknownLineMissesItsInsertionRecordUntilItComes) {
  EXPECT_THAT(
      DuesAt(9, Rule::kInsertionRecordMissing, {Flush("f", Hours(9)), Graded("c", Hours(8), 0)}),
      ElementsAre("insertion-record-missing line-1 2026-02-02T18:00:00Z overdue"));
  EXPECT_THAT(
      DuesAt(9, Rule::kInsertionRecordMissing, {kI, Graded("c", Hours(8), 0)}),
      ElementsAre("insertion-record-missing line-1 2026-02-02T18:00:00Z settled by i (if issued)"));
  EXPECT_THAT(DuesAt(9, Rule::kInsertionRecordMissing, {kI}), IsEmpty());
  EXPECT_THAT(DuesAt(9, Rule::kInsertionRecordMissing, {Attempt("a", Hours(0))}), IsEmpty());
}

TEST(Due, AnUnknownLineStillComesOutWhenItMust) {
  EXPECT_THAT(DuesAt(8, Rule::kRemoveNow, {Graded("c", Hours(8), 2)}),
              ElementsAre("remove-now c 2026-02-02T18:00:00Z due for phlebitis-grade"));
  EXPECT_THAT(DuesAt(8, Rule::kSiteCheck, {Graded("c", Hours(8), 2)}), IsEmpty());
}

TEST(Due, NothingPlacedMeansNothingDue) {
  for (auto outcome :
       {event::Outcome::kFailed, event::Outcome::kDeclined, event::Outcome::kNotAttempted}) {
    EXPECT_THAT(Compute(LineOf({Attempt("a", Hours(0), outcome)}), CommonPractice(), London(),
                        Hours(90).instant),
                IsEmpty());
  }
}

TEST(Due, AKindWithoutRulesIsAPolicyMissingNeverSilence) {
  const auto dues = [](double now, std::vector<event::Event> events) {
    return Texts(
        Compute(LineOf(std::move(events)), CommonPractice(), London(), Hours(now).instant));
  };
  const auto midline = Insertion("i", Hours(0), "midline");
  EXPECT_THAT(dues(0, {midline}), ElementsAre("policy-missing i 2026-02-02T10:00:00Z due"));
  EXPECT_THAT(dues(99, {midline}), ElementsAre("policy-missing i 2026-02-02T10:00:00Z overdue"));
  EXPECT_THAT(dues(99, {midline, Removal("r", Hours(9))}),
              testing::Contains("policy-missing i 2026-02-02T10:00:00Z no-longer-needed by r"));
}

TEST(Due, OpenDuesFollowThePatientToAnotherWardAndSettledOnesDoNot) {
  const std::vector<event::Event> events = {kI, Graded("c1", Hours(4), 0),
                                            Graded("c2", Hours(12), 0),
                                            OnWard("ward-hourly", Flush("f", Hours(13)))};
  EXPECT_THAT(DuesAt(13, Rule::kSiteCheck, events),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z settled by c1",
                          "site-check-due c1 2026-02-02T22:00:00Z settled by c2",
                          "site-check-due c2 2026-02-02T23:00:00Z due"));
  EXPECT_THAT(DuesAt(13, Rule::kRemoval, events),
              ElementsAre("removal-due i 2026-02-04T10:00:00Z not-yet-due"));
  EXPECT_THAT(DuesAt(13, Rule::kDressing, events),
              ElementsAre("dressing-change-due i 2026-02-09T10:00:00Z no-longer-needed by f"))
      << "that ward has no limit for dressings";
}

TEST(Due, AWardWithoutRulesForTheKindIsAPolicyMissingFromTheMoveOn) {
  const std::vector<event::Event> events = {
      OnWard("ward-hourly", Insertion("i", Hours(0), "midline")), Flush("f", Hours(5))};
  // Had the flush come first, the insertion would have been judged by ward-a: nothing told is
  // dropped.
  EXPECT_THAT(DuesAt(6, Rule::kPolicyMissing, events),
              ElementsAre("policy-missing i 2026-02-02T10:00:00Z no-longer-needed by i (if issued)",
                          "policy-missing f 2026-02-02T15:00:00Z overdue"));
  EXPECT_THAT(DuesAt(6, Rule::kRemoval, events),
              ElementsAre("removal-due i 2026-02-16T10:00:00Z no-longer-needed by f"));
}

TEST(Due, WhatARetractedEventStartedIsEnteredInError) {
  const std::vector<event::Event> events = {kI, Graded("c", Hours(4), 3),
                                            Retraction("x", Hours(5), "c")};
  EXPECT_THAT(DuesAt(5, Rule::kRemoveNow, events),
              ElementsAre("remove-now c 2026-02-02T14:00:00Z entered-in-error by x for "
                          "phlebitis-grade (if issued)"));
  EXPECT_THAT(
      DuesAt(5, Rule::kSiteCheck, events),
      ElementsAre("site-check-due i 2026-02-02T14:00:00Z overdue",
                  "site-check-due c 2026-02-02T22:00:00Z entered-in-error by x (if issued)"));
}

TEST(Due, ARetractedInsertionTakesEverythingItStartedWithIt) {
  const std::vector<event::Event> events = {kI, Graded("c", Hours(4), 0),
                                            Retraction("x", Hours(5), "i")};
  EXPECT_THAT(
      Texts(Compute(LineOf(events), CommonPractice(), London(), Hours(5).instant)),
      ElementsAre("removal-due i 2026-02-05T10:00:00Z entered-in-error by x (if issued)",
                  "site-check-due i 2026-02-02T14:00:00Z entered-in-error by x (if issued)",
                  "dressing-change-due i 2026-02-09T10:00:00Z entered-in-error by x (if issued)",
                  "site-check-due c 2026-02-02T22:00:00Z entered-in-error by x (if issued)",
                  "insertion-record-missing line-1 2026-02-02T14:00:00Z overdue"));
}

TEST(Due, ARetractedRemovalPutsTheLineBackIntoPlace) {
  const std::vector<event::Event> events = {kI, Removal("r", Hours(4)),
                                            Retraction("x", Hours(5), "r")};
  EXPECT_THAT(DuesAt(80, Rule::kRemoval, events),
              ElementsAre("removal-due i 2026-02-05T10:00:00Z overdue"));
  EXPECT_THAT(
      DuesAt(80, Rule::kPostRemovalWatch, events),
      ElementsAre("post-removal-watch r 2026-02-04T14:00:00Z entered-in-error by x (if issued)"));
}

TEST(Due, ACorrectedEventKeepsTheIdentityOfWhatItStarted) {
  EXPECT_THAT(DuesAt(4, Rule::kRemoval, {kI, Replacing("i", Insertion("j", Hours(-2)))}),
              ElementsAre("removal-due i 2026-02-05T08:00:00Z not-yet-due"));
  EXPECT_THAT(DuesAt(4, Rule::kRemoveNow,
                     {kI, Graded("c", Hours(4), 3), Replacing("c", Graded("d", Hours(4), 0))}),
              ElementsAre("remove-now c 2026-02-02T14:00:00Z entered-in-error by c for "
                          "phlebitis-grade (if issued)"));
}

TEST(Due, EveryDueNamesPolicyVersionAndWard) {
  for (const Due& due : Compute(LineOf({kI, Graded("c", Hours(4), 2)}), CommonPractice(), London(),
                                Hours(5).instant)) {
    EXPECT_EQ(due.policy_name, "common-practice");
    EXPECT_EQ(due.policy_version, "1");
    EXPECT_EQ(due.ward, "ward-a");
  }
}

}  // namespace
}  // namespace dwell::due
