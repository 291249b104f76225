// Site checks by interval, tighter ones by group of patients and by infusion, and names that the
// policy does not know. Intervals: position paper of the Infusion Nurses Society, 2012 (4 hours for
// an adult with an infusion that does not irritate, hourly for children, at most 10 minutes with an
// intermittent vesicant), as they stand in the policy below.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/mapping/due/sample_policy.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test
using testing::ElementsAre;
using testing::IsEmpty;

const Policy& Intervals() {
  static const Policy kPolicy = PolicyOf(R"({
    "name": "intervals", "version": "1", "due_soon_min": 10, "grace_min": 30, "watch_h": 48,
    "known_patient_groups": ["adult"],
    "kinds": {"peripheral-cannula": {"check_interval_min": 480,
      "check_interval_by_patient_group_min": {"child": 60, "critically-ill": 120},
      "check_interval_by_infusion_min": {"non-irritant": 240, "vesicant": 10},
      "remove_at_infiltration_grade": 2}},
    "wards": {"ward-rounds": {"peripheral-cannula": {"check_rounds": ["06:00", "14:00", "22:00"],
      "check_interval_by_infusion_min": {"vesicant": 10}}}}})");
  return kPolicy;
}

using Told = std::vector<event::Code>;

event::Event Groups(Told names, event::Event e) {
  e.patient_groups = std::move(names);
  return e;
}

event::Event Runs(Told names, event::Event e) {
  e.infusions = std::move(names);
  return e;
}

event::Event OnRounds(event::Event e) {
  e.place.ward = "ward-rounds";
  return e;
}

const event::Event kI = Insertion("i", Hours(0));  // at 10:00

std::vector<std::string> Checks(double hours, std::vector<event::Event> events,
                                Rule rule = Rule::kSiteCheck) {
  return Texts(
      Only(rule, Compute(LineOf(std::move(events)), Intervals(), London(), Hours(hours).instant)));
}

TEST(Checks, AnIntervalIsElapsedTimeSinceTheInsertionAndSinceEachCheck) {
  EXPECT_THAT(Checks(7, {kI}), ElementsAre("site-check-due i 2026-02-02T18:00:00Z not-yet-due"));
  EXPECT_THAT(Checks(8, {kI, Graded("c", Hours(7.75), 0)}),
              ElementsAre("site-check-due i 2026-02-02T18:00:00Z settled by c",
                          "site-check-due c 2026-02-03T01:45:00Z not-yet-due"));
}

// Rounds have 9 hours between them in the night of 25 October 2026 in London; an interval has not.
TEST(Checks, AnIntervalTakesNoNoticeOfTheChangeOfTheClocks) {
  const auto line = LineOf({Insertion("i", At("2026-10-24T22:00:00+01:00"))});
  const auto dues = Only(Rule::kSiteCheck,
                         Compute(line, Intervals(), London(), At("2026-10-24T22:00:00Z").instant));
  ASSERT_EQ(dues.size(), 1U);
  EXPECT_EQ(London().Format(dues[0].due_at), "2026-10-25T05:00:00+00:00");
}

TEST(Checks, TheTightestNameToldDecides) {
  const std::pair<event::Event, const char*> table[] = {
      {Groups({"adult"}, kI), "18:00"},
      {Groups({"child"}, kI), "11:00"},
      {Groups({"critically-ill", "adult"}, kI), "12:00"},
      {Runs({"non-irritant"}, kI), "14:00"},
      {Runs({"non-irritant", "vesicant"}, kI), "10:10"},
      {Groups({"child"}, Runs({"non-irritant"}, kI)), "11:00"},
      {Groups({}, Runs({}, kI)), "18:00"},
  };
  for (const auto& [event, wall] : table) {
    EXPECT_THAT(
        Checks(0, {event}),
        ElementsAre(testing::StartsWith(std::string("site-check-due i 2026-02-02T") + wall)));
  }
}

TEST(Checks, WhatWasToldHoldsUntilItIsToldAnew) {
  const std::vector<event::Event> events = {Groups({"child"}, kI), Graded("c1", Hours(1), 0),
                                            Groups({"adult"}, Graded("c2", Hours(2), 0))};
  EXPECT_THAT(Checks(2, events), ElementsAre("site-check-due i 2026-02-02T11:00:00Z settled by c1",
                                             "site-check-due c1 2026-02-02T12:00:00Z settled by c2",
                                             "site-check-due c2 2026-02-02T20:00:00Z not-yet-due"));
}

TEST(Checks, AnInfusionThatBeginsLaterTightensTheOpenCheckButNotBeforeItWasTold) {
  EXPECT_THAT(Checks(1, {kI, Runs({"vesicant"}, Flush("f", Hours(0.05)))}),
              ElementsAre("site-check-due i 2026-02-02T10:10:00Z overdue"));
  EXPECT_THAT(Checks(3, {kI, Runs({"vesicant"}, Flush("f", Hours(3)))}),
              ElementsAre("site-check-due i 2026-02-02T13:00:00Z due"));
}

TEST(Checks, SayingItAgainOrEndingItDoesNotPutOffACheckOnceAskedFor) {
  const auto started = Runs({"vesicant"}, Flush("f", Hours(3)));
  for (const Told& names : {Told{"vesicant"}, Told{"vesicant", "non-irritant"}, Told{}}) {
    EXPECT_THAT(Checks(4, {kI, started, Runs(names, Flush("g", Hours(3.9)))}),
                ElementsAre("site-check-due i 2026-02-02T13:00:00Z overdue"));
  }
  EXPECT_THAT(Checks(4, {kI, started, Runs({}, Graded("c", Hours(3.9), 0))}),
              ElementsAre("site-check-due i 2026-02-02T13:00:00Z settled by c",
                          "site-check-due c 2026-02-02T21:54:00Z not-yet-due"));
}

TEST(Checks, RoundsStandBesideATighterInterval) {
  EXPECT_THAT(Checks(0, {OnRounds(kI)}),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z not-yet-due"));
  EXPECT_THAT(Checks(0, {OnRounds(Runs({"vesicant"}, kI))}),
              ElementsAre("site-check-due i 2026-02-02T10:10:00Z due-soon"));
  EXPECT_THAT(Checks(5, {kI, OnRounds(Flush("f", Hours(1)))}),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z overdue"))
      << "the ward where the patient is now goes by rounds";
}

TEST(Checks, ANameThatThisWardLeavesOutChangesNothingThere) {
  EXPECT_THAT(Checks(0, {OnRounds(Runs({"non-irritant"}, kI))}),
              ElementsAre("site-check-due i 2026-02-02T14:00:00Z not-yet-due"));
  EXPECT_THAT(Checks(0, {OnRounds(Runs({"non-irritant"}, kI))}, Rule::kPolicyMissing), IsEmpty());
}

TEST(Checks, AnUnknownNameIsJudgedByTheStrictestOfItsSortAndMissesAPolicy) {
  EXPECT_THAT(Checks(0, {Groups({"giant"}, kI)}),
              ElementsAre("site-check-due i 2026-02-02T11:00:00Z not-yet-due"));
  EXPECT_THAT(Checks(0, {Runs({"potion"}, kI)}),
              ElementsAre("site-check-due i 2026-02-02T10:10:00Z due-soon"));
  EXPECT_THAT(Checks(0, {Groups({"giant"}, kI)}, Rule::kPolicyMissing),
              ElementsAre("policy-missing i 2026-02-02T10:00:00Z due for patient-group-unknown"));
  EXPECT_THAT(Checks(1, {kI, Runs({"potion"}, Flush("f", Hours(1)))}, Rule::kPolicyMissing),
              ElementsAre("policy-missing f 2026-02-02T11:00:00Z due for infusion-unknown"));
}

TEST(Checks, AnUnknownNameIsMissedOnceUntilTheWardTellsKnownOnes) {
  EXPECT_THAT(Checks(3,
                     {Runs({"potion"}, kI), Runs({"potion"}, Graded("c", Hours(1), 0)),
                      Groups({"adult"}, Graded("d", Hours(2), 0)), Runs({}, Flush("f", Hours(3)))},
                     Rule::kPolicyMissing),
              ElementsAre("policy-missing i 2026-02-02T10:00:00Z settled by f for infusion-unknown",
                          "policy-missing c 2026-02-02T11:00:00Z no-longer-needed by i for "
                          "infusion-unknown (if issued)"));
}

// Infusion Nurses Society, infiltration scale: any amount of a vesicant in the tissue is grade 4.
TEST(Checks, WhatRunsThroughTheLineDecidesWhatASwellingProves) {
  event::SiteCheck swollen;
  swollen.signs.swelling = event::Finding::kPresent;
  const auto c = Check("c", Hours(1), swollen);
  EXPECT_THAT(Checks(1, {Runs({"vesicant"}, kI), c}, Rule::kRemoveNow),
              ElementsAre("remove-now c 2026-02-02T11:00:00Z due for infiltration-signs"));
  EXPECT_THAT(Checks(1, {Runs({"non-irritant"}, kI), c}, Rule::kRemoveNow), IsEmpty());
  EXPECT_THAT(
      Checks(2, {Runs({"vesicant"}, kI), c, Retraction("x", Hours(2), "i")}, Rule::kRemoveNow),
      ElementsAre("remove-now c 2026-02-02T11:00:00Z no-longer-needed for "
                  "infiltration-signs (if issued)"))
      << "it was told: it stays in the list";
}

/// When the open check of the line counts as forgotten.
std::string Forgotten(std::vector<event::Event> events) {
  const auto dues = Only(Rule::kSiteCheck, Compute(LineOf(std::move(events)), Intervals(), London(),
                                                   Hours(0).instant));
  if (dues.empty() || !dues.back().forgotten_from) return "never";
  return FormatInstant(*dues.back().forgotten_from);
}

TEST(Checks, ACheckIsForgottenWhenTwiceItsIntervalHasPassed) {
  EXPECT_EQ(Forgotten({kI}), "2026-02-03T02:00:00Z") << "every 8 hours";
  EXPECT_EQ(Forgotten({Groups({"child"}, kI)}), "2026-02-02T12:00:00Z") << "every hour";
  EXPECT_EQ(Forgotten({OnRounds(kI)}), "2026-02-02T22:00:00Z") << "the round after 14:00";
  EXPECT_EQ(Forgotten({OnRounds(Runs({"vesicant"}, kI))}), "2026-02-02T10:20:00Z")
      << "every 10 minutes, whatever the rounds";
  EXPECT_EQ(Forgotten({kI, Removal("r", Hours(1))}), "never") << "nobody is to look any more";
}

}  // namespace
}  // namespace dwell::due
