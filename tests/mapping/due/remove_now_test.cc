// What makes a line come out now: by which scale, by which definition. Sources of the rows: see
// grades_test.cc and infiltration_test.cc.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/mapping/due/sample_policy.h"
#include "tests/mapping/due/signs.h"

namespace dwell::due {
namespace {

using namespace samples;  // NOLINT: the words of this test

/// A policy whose only rule for cannulas is this.
Policy OnlyRule(const std::string& rule) {
  return PolicyOf(R"({"name":"n","version":"1","due_soon_min":0,"grace_min":0,"watch_h":48,
    "kinds":{"peripheral-cannula":{)" +
                  rule + "}}}");
}

/// What was only ever asked for while the kind of line was unknown does not count.
std::string FirstReason(const std::vector<Due>& dues) {
  for (const Due& due : dues) {
    if (!due.only_if_issued) return due.reason;
  }
  return "";
}

struct Seen {
  const char* signs;  ///< letters of SignsOf()
  const char* scale = "";
  int grade = 0;
  event::Measures measures = {};
};

/// Why the line must come out by that rule after what was seen; empty when it need not.
std::string Why(const std::string& rule, const Seen& seen) {
  event::SiteCheck check;
  check.signs = SignsOf(seen.signs, "");
  check.measures = seen.measures;
  if (*seen.scale != '\0') check.grade.emplace() = {seen.scale, "1998", seen.grade};
  const auto line = LineOf({Insertion("i", Hours(0)), Check("c", Hours(1), check)});
  const auto dues =
      Only(Rule::kRemoveNow, Compute(line, OnlyRule(rule), London(), Hours(1).instant));
  return FirstReason(dues);
}

constexpr const char* kVip = "visual-infusion-phlebitis";
constexpr const char* kIns = "ins-phlebitis";

TEST(RemoveNow, OneGradeForAnyScaleIsProvenOnEither) {
  const std::string rule = R"("remove_at_phlebitis_grade": 3)";
  EXPECT_EQ(Why(rule, {"PEI"}), "phlebitis-signs") << "grade 3 of the visual scale only";
  EXPECT_EQ(Why(rule, {"PSKC"}), "phlebitis-signs") << "grade 3 of the INS scale only";
  EXPECT_EQ(Why(rule, {"PEI", kIns, 2}), "phlebitis-signs") << "whatever was entered";
  EXPECT_EQ(Why(rule, {"PSKC", kVip, 2}), "phlebitis-signs");
  EXPECT_EQ(Why(rule, {"PES"}), "");
  EXPECT_EQ(Why(rule, {"", kIns, 3}), "phlebitis-grade");
  EXPECT_EQ(Why(rule, {"", kVip, 3}), "phlebitis-grade");
}

TEST(RemoveNow, AGradeForEachScaleGradesTheSignsOnThoseScalesOnly) {
  const std::string ins = R"("remove_at_phlebitis_grade": {"ins-phlebitis": 2})";
  EXPECT_EQ(Why(ins, {"ES"}), "") << "two early signs are grade 2 of the visual scale only";
  EXPECT_EQ(Why(ins, {"PS"}), "phlebitis-signs");
  EXPECT_EQ(Why(ins, {"", kIns, 2}), "phlebitis-grade");
  const std::string both =
      R"("remove_at_phlebitis_grade": {"ins-phlebitis": 2, "visual-infusion-phlebitis": 3})";
  EXPECT_EQ(Why(both, {"ES"}), "");
  EXPECT_EQ(Why(both, {"", kVip, 2}), "");
  EXPECT_EQ(Why(both, {"", kVip, 3}), "phlebitis-grade");
  EXPECT_EQ(Why(both, {"", kIns, 2}), "phlebitis-grade");
}

TEST(RemoveNow, AGradeOnAScaleThatIsNotListedIsJudgedByTheStrictest) {
  EXPECT_EQ(Why(R"("remove_at_phlebitis_grade": {"ins-phlebitis": 2})", {"", kVip, 2}),
            "phlebitis-grade");
  EXPECT_EQ(Why(R"("remove_at_phlebitis_grade": {"ins-phlebitis": 2})", {"", kVip, 1}), "");
}

TEST(RemoveNow, TheTrialsDefinitionIsARuleOfItsOwn) {
  const std::string rule = R"("remove_on_trial_phlebitis": true)";
  event::Measures wide;
  wide.redness_mm = event::Decimal{"12"};
  wide.pain_0_10 = 2;
  EXPECT_EQ(Why(rule, {"PE", "", 0, wide}), "phlebitis-definition");
  EXPECT_EQ(Why(rule, {"PE", kVip, 1, wide}), "phlebitis-definition");
  EXPECT_EQ(Why(rule, {"PE"}), "phlebitis-definition") << "nobody said that they are small";
  wide.pain_0_10 = 1;
  EXPECT_EQ(Why(rule, {"PE", "", 0, wide}), "");
  EXPECT_EQ(Why(rule, {"", kVip, 5}), "") << "the policy asks for no grade";
  EXPECT_EQ(Why("", {"UC"}), "") << "off when left out";
}

TEST(RemoveNow, InfiltrationIsProvenBySignsAndMeasuresWhateverWasEntered) {
  event::SiteCheck check;
  check.signs.blanching = check.signs.coolness = event::Finding::kPresent;
  check.measures.swelling_mm = event::Decimal{"25"};
  check.infiltration_grade = 1;
  const auto reason = [&check](int limit) {
    const auto line = LineOf({Insertion("i", Hours(0)), Check("c", Hours(1), check)});
    const Policy policy = OnlyRule("\"remove_at_infiltration_grade\": " + std::to_string(limit));
    const auto dues = Only(Rule::kRemoveNow, Compute(line, policy, London(), Hours(1).instant));
    return FirstReason(dues);
  };
  EXPECT_EQ(reason(1), "infiltration-grade");
  EXPECT_EQ(reason(2), "infiltration-signs");
  EXPECT_EQ(reason(3), "");
}

TEST(RemoveNow, OnALineOfUnknownKindTheStrictestOfAllRulesCounts) {
  const Policy policy = PolicyOf(R"({"name":"n","version":"1","due_soon_min":0,"grace_min":0,
    "watch_h":48,"kinds":{
      "cvc":{"remove_at_phlebitis_grade":{"ins-phlebitis":3},"remove_on_trial_phlebitis":true},
      "picc":{"remove_at_phlebitis_grade":2}}})");
  event::SiteCheck pus;
  pus.signs = SignsOf("UC", "");
  for (const auto& check : {Graded("c", Hours(1), 2), Check("c", Hours(1), pus)}) {
    EXPECT_EQ(
        Only(Rule::kRemoveNow, Compute(LineOf({check}), policy, London(), Hours(1).instant)).size(),
        1U);
  }
}

}  // namespace
}  // namespace dwell::due
