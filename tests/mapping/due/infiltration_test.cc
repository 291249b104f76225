// The grade of infiltration at its boundaries, and the trial's definition of phlebitis.
#include <gtest/gtest.h>

#include <string>

#include "mapping/due/grades.h"
#include "tests/mapping/due/signs.h"
#include "tests/mapping/samples.h"

namespace dwell::due {
namespace {

using event::Finding;
using samples::SignsOf;

event::Measures Swelling(const std::string& mm) {
  event::Measures measures;
  if (!mm.empty()) measures.swelling_mm = event::Decimal{mm};
  return measures;
}

event::Signs PaleAndCool() {
  event::Signs signs;
  signs.blanching = signs.coolness = Finding::kPresent;
  return signs;
}

// Infusion Nurses Society, infiltration scale (Infusion Nursing Standards of Practice 2006 and
// 2011, as reproduced): below 2.5 cm grade 1, 2.5 to 15 cm grade 2, beyond grade 3; any amount of
// blood product, irritant or vesicant grade 4.
TEST(InfiltrationGrades, TheExtentOfTheSwellingDecidesExactlyAtItsBoundaries) {
  const std::pair<const char*, int> table[] = {
      {"0", 0},   {"0.1", 1},   {"24.9", 1}, {"24.999", 1}, {"25", 2},  {"25.0", 2},
      {"149", 2}, {"150.0", 2}, {"151", 3},  {"150.01", 3}, {"999", 3},
  };
  for (const auto& [mm, grade] : table) {
    EXPECT_EQ(InfiltrationGradeProven(PaleAndCool(), Swelling(mm), false), grade) << mm;
  }
}

TEST(InfiltrationGrades, AnySwellingWithBloodIrritantOrVesicantIsTheHighest) {
  EXPECT_EQ(InfiltrationGradeProven(PaleAndCool(), Swelling("5"), true), 4);
  EXPECT_EQ(InfiltrationGradeProven({}, Swelling("5"), true), 4) << "whatever the skin looks like";
  event::Signs swollen;
  swollen.swelling = Finding::kPresent;
  EXPECT_EQ(InfiltrationGradeProven(swollen, {}, true), 4);
  EXPECT_EQ(InfiltrationGradeProven(PaleAndCool(), {}, true), 0) << "no swelling";
}

TEST(InfiltrationGrades, NothingIsProvenBySwellingAloneNorBySkinAlone) {
  EXPECT_EQ(InfiltrationGradeProven({}, Swelling("60"), false), 0) << "it may be phlebitis";
  auto signs = PaleAndCool();
  EXPECT_EQ(InfiltrationGradeProven(signs, {}, false), 0);
  signs.swelling = Finding::kPresent;
  EXPECT_EQ(InfiltrationGradeProven(signs, {}, false), 1) << "of an extent that nobody told";
  signs.coolness = Finding::kNotAssessable;
  EXPECT_EQ(InfiltrationGradeProven(signs, Swelling("60"), false), 0);
}

/// Redness and swelling in mm and pain of 10, "" where not told.
event::Measures Measured(const std::string& redness, const std::string& swelling,
                         std::optional<std::int64_t> pain) {
  event::Measures measures = Swelling(swelling);
  if (!redness.empty()) measures.redness_mm = event::Decimal{redness};
  measures.pain_0_10 = pain;
  return measures;
}

// Rickard et al., Lancet 2012;380:1066-74 (definition as summarised in ACP Journal Club): two or
// more at once of pain 2 or more of 10, redness 1 cm or more, swelling 1 cm or more, pus, cord.
TEST(TrialDefinition, TwoSignsOfTheirMeasureAtOnceAreNeeded) {
  struct Row {
    const char* signs;
    event::Measures measures;
    TrialPhlebitis expected;
  };
  const Row table[] = {
      {"", Measured("10", "10", {}), TrialPhlebitis::kMet},
      {"", Measured("9.99", "10", {}), TrialPhlebitis::kNotMet},
      {"", Measured("10.0", "", 2), TrialPhlebitis::kMet},
      {"", Measured("10", "", 1), TrialPhlebitis::kNotMet},
      {"U", Measured("", "", 2), TrialPhlebitis::kMet},
      {"UC", {}, TrialPhlebitis::kMet},
      {"U", {}, TrialPhlebitis::kNotMet},
      {"", {}, TrialPhlebitis::kNotMet},
      {"PE", {}, TrialPhlebitis::kPossible},
      {"PE", Measured("3", "", 1), TrialPhlebitis::kNotMet},
      {"PC", {}, TrialPhlebitis::kPossible},
      {"ESC", Measured("3", "12", {}), TrialPhlebitis::kMet},
      {"PESICF", Measured("9", "9", 1), TrialPhlebitis::kNotMet},
  };
  for (const Row& row : table) {
    EXPECT_EQ(TrialPhlebitisOf(SignsOf(row.signs, ""), row.measures), row.expected)
        << row.signs << " row " << &row - table;
  }
}

TEST(TrialDefinition, CountsDuringTheLineAndUntil48HoursAfterItsRemoval) {
  const auto check = [](double hours) {
    event::SiteCheck body;
    body.signs = SignsOf("UC", "");
    return samples::Check("c", samples::Hours(hours), body);
  };
  const auto found = [&](double hours) {
    const auto line =
        line::Derive({"ward-system", "line-1"},
                     samples::Shared({samples::Insertion("i", samples::Hours(0)), check(hours),
                                      samples::Removal("r", samples::Hours(24))}),
                     std::chrono::hours(96));
    return FirstTrialPhlebitis(*line) != nullptr;
  };
  EXPECT_TRUE(found(5));
  EXPECT_TRUE(found(24.5));
  EXPECT_TRUE(found(72));
  EXPECT_FALSE(found(72.001));
  EXPECT_EQ(FirstTrialPhlebitis(samples::LineOf({check(5)})), nullptr) << "no line that began";
}

}  // namespace
}  // namespace dwell::due
