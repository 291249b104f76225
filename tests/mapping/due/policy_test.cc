// Policies: what the schema lets through, what reading still refuses, and which rules apply where.
#include "mapping/due/policy.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "schemas/bundled.h"
#include "schemas/schema.h"
#include "tests/mapping/due/sample_policy.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test
using std::chrono::hours;
using std::chrono::minutes;
using testing::ElementsAre;
using testing::HasSubstr;

std::string With(const std::string& from, const std::string& to) {
  std::string text = kPolicyText;
  const auto at = text.find(from);
  CHECK(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

/// The sample with further rules for central lines.
std::string Ruled(const std::string& more) {
  return With("\"cvc\": {\"check_rounds\": [\"06:00\", \"14:00\", \"22:00\"],",
              "\"cvc\": {" + more + ",");
}

std::string Violations(const std::string& text) {
  const auto schema = schemas::Schema::Load(*schemas::BundledText("policy.schema.json"));
  CHECK(schema.has_value());
  const auto document = schemas::Document::Parse(text);
  CHECK(document.has_value());
  std::string found;
  for (const auto& violation : schema->Check(document->root())) {
    found += violation.pointer + " " + violation.rule + "\n";
  }
  return found;
}

TEST(Policy, ASensiblePolicyPassesItsSchema) { EXPECT_EQ(Violations(kPolicyText), ""); }

TEST(Policy, TheSchemaRefusesTyposAndFiguresOutOfRange) {
  const std::pair<std::string, const char*> table[] = {
      {With("dwell_max_h\": 72", "dwell_max\": 72"), "/kinds/peripheral-cannula"},
      {With("dwell_max_h\": 72", "dwell_max_h\": 0"),
       "/kinds/peripheral-cannula/dwell_max_h minimum"},
      {With("dwell_max_h\": 72", "dwell_max_h\": 7.5"),
       "/kinds/peripheral-cannula/dwell_max_h type"},
      {With("\"gauze\": 48", "\"gauze\": -1"),
       "/kinds/peripheral-cannula/dressing_max_h/gauze minimum"},
      {With("phlebitis_grade\": 2", "phlebitis_grade\": 6"),
       "/kinds/peripheral-cannula/remove_at_phlebitis_grade maximum"},
      {With("\"watch_h\": 48", "\"watch_h\": \"48\""), "/watch_h type"},
      {With("\"version\": \"1\", ", ""), "required"},
      {With("\"midline\": {\"dwell_max_h\": 336}", "\"midline\": {\"dwell_h\": 336}"),
       "/wards/ward-hourly/midline"},
      {Ruled(R"("remove_at_phlebitis_grade": {"ins-phlebitis": 5})"),
       "/kinds/cvc/remove_at_phlebitis_grade/ins-phlebitis maximum"},
      {Ruled(R"("remove_at_phlebitis_grade": {"pain-scale": 5})"),
       "/kinds/cvc/remove_at_phlebitis_grade"},
      {Ruled(R"("check_interval_min": 0)"), "/kinds/cvc/check_interval_min minimum"},
      {Ruled(R"("check_interval_by_infusion_min": {"vesicant": 1.5})"),
       "/kinds/cvc/check_interval_by_infusion_min/vesicant type"},
      {Ruled(R"("escalation": [])"), "/kinds/cvc/escalation minItems"},
      {Ruled(R"("escalation": [{"after_due_min": 5, "priority": "routine"}])"),
       "/kinds/cvc/escalation/0/priority enum"},
      {With("\"kinds\"", "\"known_infusions\": [\"Saline\"], \"kinds\""),
       "/known_infusions/0 pattern"},
  };
  for (const auto& [text, expected] : table) EXPECT_THAT(Violations(text), HasSubstr(expected));
}

TEST(Policy, ItsFiguresAreRead) {
  const Policy& policy = CommonPractice();
  EXPECT_EQ(policy.name, "common-practice");
  EXPECT_EQ(policy.version, "1");
  EXPECT_EQ(policy.due_soon, minutes(60));
  EXPECT_EQ(policy.grace, minutes(30));
  EXPECT_EQ(policy.watch, hours(48));
  EXPECT_EQ(policy.check_after_removal_max(), hours(72));
  const LineRules& rules = *policy.Find("ward-a", "peripheral-cannula");
  EXPECT_EQ(rules.dwell_max, hours(72));
  EXPECT_EQ(rules.dwell_max_emergency, hours(24));
  EXPECT_THAT(rules.check_rounds, ElementsAre(hours(6), hours(14), hours(22))) << "sorted";
  EXPECT_EQ(rules.dressing_max.at("gauze"), hours(48));
  EXPECT_EQ(rules.dressing_max.at(""), hours(96)) << "the default";
  EXPECT_EQ(rules.remove_at_phlebitis_grade, 2);
  EXPECT_EQ(rules.remove_at_infiltration_grade, 1);
  EXPECT_TRUE(rules.remove_on_swelling_at_flush);
  EXPECT_TRUE(rules.remove_when_not_needed);
  EXPECT_FALSE(policy.Find("ward-a", "cvc")->dwell_max.has_value());
}

TEST(Policy, AWardsOwnRulesTakeThePlaceOfTheGeneralOnesWhole) {
  const Policy& policy = CommonPractice();
  const LineRules& rules = *policy.Find("ward-hourly", "peripheral-cannula");
  EXPECT_EQ(rules.dwell_max, hours(48));
  EXPECT_EQ(rules.check_rounds.size(), 24U);
  EXPECT_FALSE(rules.dwell_max_emergency.has_value());
  EXPECT_TRUE(rules.dressing_max.empty());
  EXPECT_NE(policy.Find("ward-hourly", "cvc"), nullptr) << "other kinds keep the general rules";
  EXPECT_NE(policy.Find("ward-hourly", "midline"), nullptr);
  EXPECT_EQ(policy.Find("ward-a", "midline"), nullptr);
  EXPECT_EQ(policy.Find("ward-a", "unheard-of"), nullptr);
}

TEST(Policy, AnUnknownKindOfLineComesOutByTheStrictestRule) {
  const LineRules& rules = CommonPractice().unknown_kind;
  EXPECT_EQ(rules.remove_at_phlebitis_grade, 2);
  EXPECT_EQ(rules.remove_at_infiltration_grade, 1);
  EXPECT_TRUE(rules.remove_on_swelling_at_flush);
  EXPECT_FALSE(rules.dwell_max.has_value());
}

TEST(Policy, WhatTheSchemaCannotSayIsRefusedWithItsPlace) {
  const std::tuple<const char*, const char*, const char*> table[] = {
      {"\"14:00\"]", "\"24:00\"]", "/kinds/peripheral-cannula/check_rounds"},
      {"\"14:00\"]", "\"14:60\"]", "/kinds/peripheral-cannula/check_rounds"},
      {"\"14:00\"]", "\"14.00\"]", "/kinds/peripheral-cannula/check_rounds"},
      {"\"14:00\"]", "\"1 :00\"]", "/kinds/peripheral-cannula/check_rounds"},
      {"\"14:00\"]", "\"06:00\"]", "listed twice"},
      {"emergency_h\": 24", "emergency_h\": 73", "/kinds/peripheral-cannula/dwell_max_emergency_h"},
      {"\"01:00\"", "\"00:00\"", "/wards/ward-hourly/peripheral-cannula/check_rounds"},
  };
  for (const auto& [from, to, expected] : table) {
    const auto document = schemas::Document::Parse(With(from, to));
    ASSERT_TRUE(document.has_value());
    const auto policy = ReadPolicy(document->root());
    ASSERT_FALSE(policy.has_value()) << to;
    EXPECT_EQ(policy.error().kind(), ErrorKind::kConfig);
    EXPECT_THAT(policy.error().message(), HasSubstr(expected));
  }
}

TEST(Policy, IntervalsNamesAndStepsThatCannotBeMeantAreRefusedWithTheirPlace) {
  const std::pair<std::string, const char*> table[] = {
      {R"("check_interval_min": 60, "check_rounds": ["06:00"])", "give one of them"},
      {R"("check_interval_by_infusion_min": {"vesicant": 10})", "for everybody else"},
      {R"("check_interval_min": 60, "check_interval_by_infusion_min": {"Vesicant": 10})",
       "/kinds/cvc/check_interval_by_infusion_min: a name is a code"},
      {R"("escalation": [{"after_due_min": 5, "priority": "asap"},
                         {"after_due_min": 5, "priority": "stat"}])",
       "/kinds/cvc/escalation: each step is later"},
      {R"("escalation": [{"after_due_min": 5, "priority": "asap"},
                         {"after_due_min": 9, "priority": "urgent"}])",
       "more urgent"},
  };
  for (const auto& [rules, expected] : table) {
    const std::string text = Ruled(rules);
    ASSERT_EQ(Violations(text), "") << rules;
    const auto document = schemas::Document::Parse(text);
    const auto policy = ReadPolicy(document->root());
    ASSERT_FALSE(policy.has_value()) << rules;
    EXPECT_THAT(policy.error().message(), HasSubstr(expected));
  }
}

TEST(Policy, WhatAnyRulesNameIsKnown) {
  const Policy policy = PolicyOf(R"({"name": "n", "version": "1", "due_soon_min": 0,
    "grace_min": 0, "watch_h": 0, "known_patient_groups": ["adult"], "known_infusions": ["water"],
    "kinds": {"cvc": {"check_interval_min": 60,
                      "check_interval_by_patient_group_min": {"child": 30}}},
    "wards": {"w": {"cvc": {"check_interval_min": 60,
                            "check_interval_by_infusion_min": {"vesicant": 10}}}}})");
  EXPECT_THAT(policy.patient_groups, ElementsAre("adult", "child"));
  EXPECT_THAT(policy.infusions, ElementsAre("vesicant", "water"));
}

}  // namespace
}  // namespace dwell::due
