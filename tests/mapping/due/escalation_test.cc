// How urgent an open due thing is, and when that rises. Codes: FHIR request-priority,
// https://hl7.org/fhir/R4/valueset-request-priority.html. The steps are those of the policy below.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/mapping/due/sample_policy.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test
using testing::ElementsAre;
using testing::Pair;

// Overdue after half an hour; an hour, four and twelve hours after that the steps.
constexpr const char* kSteps = R"({
  "name": "steps", "version": "1", "due_soon_min": 60, "grace_min": 30, "watch_h": 48,
  "escalation": [{"after_due_min": 90, "priority": "urgent"},
                 {"after_due_min": 270, "priority": "asap"},
                 {"after_due_min": 750, "priority": "stat"}],
  "kinds": {"peripheral-cannula": {"dwell_max_h": 72, "remove_at_phlebitis_grade": 2},
            "midline": {"dwell_max_h": 72, "due_soon_min": 120, "grace_min": 0, "watch_h": 72,
                        "escalation": [{"after_due_min": 0, "priority": "stat"}]}}})";

/// Stage and priority of the due of that rule, `hours` after kDayOne.
std::pair<std::string, std::string> At(double hours, Rule rule, const Policy& policy,
                                       std::vector<event::Event> events) {
  const auto dues =
      Only(rule, Compute(LineOf(std::move(events)), policy, London(), Hours(hours).instant));
  CHECK(dues.size() == 1);
  return {std::string(StageCode(dues[0].stage)), std::string(PriorityCode(dues[0].priority))};
}

TEST(Escalation, WithoutStepsADueThingIsUrgentAndAnOverdueOneAsSoonAsPossible) {
  const auto at = [](double hours) {
    return At(hours, Rule::kRemoval, CommonPractice(), {Insertion("i", Hours(0))});
  };
  EXPECT_THAT(at(0), Pair("not-yet-due", "routine"));
  EXPECT_THAT(at(71), Pair("due-soon", "routine"));
  EXPECT_THAT(at(72), Pair("due", "urgent"));
  EXPECT_THAT(at(72.5), Pair("overdue", "asap"));
  EXPECT_THAT(at(900), Pair("overdue", "asap"));
}

TEST(Escalation, EachStepBeginsExactlyAtItsInstant) {
  const Policy policy = PolicyOf(kSteps);
  const std::tuple<double, const char*, const char*> table[] = {
      {72, "due", "routine"},      {72.5, "overdue", "routine"},  {73.499, "overdue", "routine"},
      {73.5, "overdue", "urgent"}, {76.499, "overdue", "urgent"}, {76.5, "overdue", "asap"},
      {84.499, "overdue", "asap"}, {84.5, "overdue", "stat"},     {900, "overdue", "stat"}};
  for (const auto& [hours, stage, priority] : table) {
    EXPECT_THAT(At(hours, Rule::kRemoval, policy, {Insertion("i", Hours(0))}),
                Pair(stage, priority))
        << hours;
  }
}

TEST(Escalation, WhatMustComeOutNowIsAlwaysOneStepMoreUrgent) {
  const Policy policy = PolicyOf(kSteps);
  const std::pair<double, const char*> table[] = {
      {4, "urgent"}, {5.5, "asap"}, {8.5, "stat"}, {16.5, "stat"}};
  for (const auto& [hours, priority] : table) {
    EXPECT_EQ(
        At(hours, Rule::kRemoveNow, policy, {Insertion("i", Hours(0)), Graded("c", Hours(4), 2)})
            .second,
        priority)
        << hours;
  }
  EXPECT_EQ(At(4, Rule::kRemoveNow, CommonPractice(),
               {Insertion("i", Hours(0)), Graded("c", Hours(4), 2)})
                .second,
            "asap");
}

TEST(Escalation, WhatIsDoneIsRoutineAgain) {
  EXPECT_THAT(At(900, Rule::kRemoval, PolicyOf(kSteps),
                 {Insertion("i", Hours(0)), Removal("r", Hours(90))}),
              Pair("settled", "routine"));
}

TEST(Escalation, AKindOfLineMayHaveItsOwnNoticeGraceAndSteps) {
  const Policy policy = PolicyOf(kSteps);
  const auto at = [&policy](double hours) {
    return At(hours, Rule::kRemoval, policy, {Insertion("i", Hours(0), "midline")});
  };
  EXPECT_THAT(at(69.999), Pair("not-yet-due", "routine"));
  EXPECT_THAT(at(70), Pair("due-soon", "routine"));
  EXPECT_THAT(at(72), Pair("overdue", "stat"));
  EXPECT_EQ(policy.check_after_removal_max(), std::chrono::hours(96)) << "a day beyond the longest";
}

TEST(Escalation, EveryStepIsForetold) {
  const Policy policy = PolicyOf(kSteps);
  const auto line = LineOf({Insertion("i", Hours(0))});
  std::vector<std::string> instants;
  std::optional<Instant> at = Hours(0).instant;
  while ((at = NextChange(Compute(line, policy, London(), *at)))) {
    instants.push_back(FormatInstant(*at));
  }
  EXPECT_THAT(instants,
              ElementsAre("2026-02-05T09:00:00Z", "2026-02-05T10:00:00Z", "2026-02-05T10:30:00Z",
                          "2026-02-05T11:30:00Z", "2026-02-05T14:30:00Z", "2026-02-05T22:30:00Z"));
}

}  // namespace
}  // namespace dwell::due
