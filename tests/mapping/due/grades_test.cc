// The computed phlebitis grade: all 64 combinations of the six signs of either scale.
// Rows of the scale: A. Jackson, Nursing Times 1998;94(4):68-71 (citation from memory); the reading
// of combinations that it does not list (floor and ceiling) is ours.
#include "mapping/due/grades.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <string>
#include <vector>

#include "tests/mapping/due/signs.h"

namespace dwell::due {
namespace {

using event::Finding;
using samples::SignsOf;

event::Signs InsSignsOf(const std::string& letters) { return SignsOf(letters, "PESKCU"); }

std::string Range(const std::string& letters) {
  const auto range = PhlebitisGradeRange(kVisualInfusionPhlebitis, SignsOf(letters));
  if (!range) return "open";
  if (range->floor == range->ceiling) return std::to_string(range->floor);
  return std::to_string(range->floor) + "-" + std::to_string(range->ceiling);
}

/// The truth table without pyrexia, drawn up independently of the code.
const std::map<std::string, std::string>& WithoutPyrexia() {
  static const std::map<std::string, std::string> kTable = {
      {"", "0"},       {"P", "1"},      {"E", "1"},     {"PE", "2"},    {"PS", "2"},
      {"ES", "2"},     {"PES", "2"},    {"PEI", "3"},   {"PESI", "3"},  {"PEIC", "4"},
      {"PESIC", "4"},  {"S", "0-2"},    {"I", "0-3"},   {"SI", "0-3"},  {"C", "0-4"},
      {"SC", "0-4"},   {"IC", "0-4"},   {"SIC", "0-4"}, {"PI", "1-3"},  {"EI", "1-3"},
      {"PC", "1-4"},   {"EC", "1-4"},   {"PIC", "1-4"}, {"EIC", "1-4"}, {"PSI", "2-3"},
      {"ESI", "2-3"},  {"PEC", "2-4"},  {"PSC", "2-4"}, {"ESC", "2-4"}, {"PESC", "2-4"},
      {"PSIC", "2-4"}, {"ESIC", "2-4"},
  };
  return kTable;
}

TEST(Grades, TheScalesOwnRowsHaveTheirGrade) {
  EXPECT_EQ(Range(""), "0");
  EXPECT_EQ(Range("P"), "1");
  EXPECT_EQ(Range("E"), "1");
  EXPECT_EQ(Range("PE"), "2") << "slight pain and slight redness reach the threshold of removal";
  EXPECT_EQ(Range("PEI"), "3");
  EXPECT_EQ(Range("PEIC"), "4");
  EXPECT_EQ(Range("PEICF"), "5");
}

TEST(Grades, EveryCombinationWithoutPyrexiaIsAsTheTableSays) {
  ASSERT_EQ(WithoutPyrexia().size(), 32U);
  for (const auto& [letters, range] : WithoutPyrexia()) EXPECT_EQ(Range(letters), range) << letters;
}

TEST(Grades, PyrexiaAloneProvesNothingAndNeverLowersTheCeiling) {
  for (const auto& [letters, range] : WithoutPyrexia()) {
    const bool all = letters == "PEIC" || letters == "PESIC";
    const std::string expected = all ? "5" : range.substr(0, 1) + "-5";
    EXPECT_EQ(Range(letters + "F"), expected) << letters << "F";
  }
}

TEST(Grades, ThirteenCombinationsAreDeterminate) {
  std::map<std::string, int> determinate;
  for (const auto& [letters, range] : WithoutPyrexia()) {
    for (const char* fever : {"", "F"}) {
      const std::string found = Range(letters + fever);
      if (found.size() == 1) ++determinate[found];
    }
  }
  const std::map<std::string, int> expected = {{"0", 1}, {"1", 2}, {"2", 4},
                                               {"3", 2}, {"4", 2}, {"5", 2}};
  EXPECT_EQ(determinate, expected);
}

TEST(Grades, AnOpenSignLeavesTheRangeOpen) {
  for (const Finding open : {Finding::kNotAsked, Finding::kNotAssessable}) {
    auto signs = SignsOf("PE");
    signs.pyrexia = open;
    EXPECT_FALSE(PhlebitisGradeRange(kVisualInfusionPhlebitis, signs).has_value());
  }
  EXPECT_FALSE(PhlebitisGradeRange(kVisualInfusionPhlebitis, {}).has_value())
      << "nothing asked is not grade 0";
}

TEST(Grades, WhatIsPresentProvesItsGradeWhateverIsOpen) {
  event::Signs signs;
  EXPECT_EQ(PhlebitisGradeProven(kVisualInfusionPhlebitis, signs), 0);
  signs.pain = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(kVisualInfusionPhlebitis, signs), 1);
  signs.swelling = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(kVisualInfusionPhlebitis, signs), 2);
  signs.erythema = Finding::kNotAssessable;
  signs.induration = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(kVisualInfusionPhlebitis, signs), 2);
  signs.erythema = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(kVisualInfusionPhlebitis, signs), 3);
}

// Rows: Infusion Nurses Society, Infusion Nursing Standards of Practice 2011, S47 (as reproduced);
// what they do not list (pain alone, swelling alone, a cord without streak, pus without a cord) is
// read as floor and ceiling by our own rule.
TEST(InsGrades, TheRowsAndWhatLiesBetweenThem) {
  const std::map<std::string, std::pair<int, int>> table = {
      {"", {0, 0}},     {"E", {1, 1}},    {"PE", {2, 2}},    {"PS", {2, 2}},  {"PES", {2, 2}},
      {"PEKC", {3, 4}}, {"PSKC", {3, 4}}, {"PESKC", {3, 4}}, {"P", {0, 1}},   {"S", {0, 2}},
      {"ES", {1, 2}},   {"PEK", {2, 3}},  {"PEC", {2, 4}},   {"K", {0, 3}},   {"C", {0, 4}},
      {"U", {0, 4}},    {"PEU", {2, 4}},  {"PEKCU", {3, 4}}, {"EKC", {1, 4}}, {"KC", {0, 4}},
  };
  for (const auto& [letters, expected] : table) {
    const auto range = PhlebitisGradeRange(kInsPhlebitis, InsSignsOf(letters));
    ASSERT_TRUE(range.has_value()) << letters;
    EXPECT_EQ(range->floor, expected.first) << letters;
    EXPECT_EQ(range->ceiling, expected.second) << letters;
    EXPECT_EQ(PhlebitisGradeProven(kInsPhlebitis, InsSignsOf(letters)), expected.first) << letters;
  }
}

TEST(InsGrades, InAll64CombinationsTheFloorIsNotAboveTheCeilingAndMoreSignsNeverProveLess) {
  const std::string letters = "PESKCU";
  for (unsigned set = 0; set < 64; ++set) {
    std::string present;
    for (unsigned i = 0; i < 6; ++i) {
      if ((set >> i & 1U) != 0) present += letters[i];
    }
    const auto range = PhlebitisGradeRange(kInsPhlebitis, InsSignsOf(present));
    ASSERT_TRUE(range.has_value());
    EXPECT_LE(range->floor, range->ceiling) << present;
    for (const char more : letters) {
      const auto above = PhlebitisGradeRange(kInsPhlebitis, InsSignsOf(present + more));
      EXPECT_GE(above->floor, range->floor) << present << " and " << more;
      EXPECT_GE(above->ceiling, range->ceiling) << present << " and " << more;
    }
  }
}

TEST(InsGrades, EachScaleAsksOnlyForItsOwnSigns) {
  auto signs = InsSignsOf("PE");
  EXPECT_TRUE(PhlebitisGradeRange(kInsPhlebitis, signs).has_value());
  EXPECT_FALSE(PhlebitisGradeRange(kVisualInfusionPhlebitis, signs).has_value());
  signs.streak = Finding::kNotAssessable;
  EXPECT_FALSE(PhlebitisGradeRange(kInsPhlebitis, signs).has_value());
  EXPECT_FALSE(PhlebitisGradeRange("some-other-scale", SignsOf("PE")).has_value());
  EXPECT_EQ(PhlebitisGradeProven("some-other-scale", SignsOf("PE")), 0);
}

/// A row of a scale as its card prints it: what the grade asks for, in one or more ways, and which
/// signs the row mentions.
struct CardRow {
  int grade;
  std::vector<std::string> required;  ///< any of these sets, whole
  std::string mentioned;              ///< the words of the row and of those below it
  int mentioned_max = 6;              ///< at most so many of P, E and S belong to the row
};

bool HasAll(const std::string& present, const std::string& wanted) {
  return std::ranges::all_of(wanted,
                             [&](char sign) { return present.find(sign) != std::string::npos; });
}

int EarlySigns(const std::string& present) {
  return static_cast<int>(std::ranges::count_if(
      present, [](char sign) { return std::string("PES").find(sign) != std::string::npos; }));
}

/// Floor: the highest row whose requirement is met. Ceiling: the lowest row that covers all signs.
std::pair<int, int> ByCard(const std::vector<CardRow>& card, const std::string& present) {
  std::pair<int, int> range{0, card.back().grade};
  for (const CardRow& row : card) {
    for (const std::string& way : row.required) {
      if (HasAll(present, way)) range.first = row.grade;
    }
  }
  for (auto row = card.rbegin(); row != card.rend(); ++row) {
    if (HasAll(row->mentioned, present) && EarlySigns(present) <= row->mentioned_max) {
      range.second = row->grade;
    }
  }
  return range;
}

std::string Subset(const std::string& letters, unsigned set) {
  std::string present;
  for (unsigned i = 0; i < letters.size(); ++i) {
    if ((set >> i & 1U) != 0) present += letters[i];
  }
  return present;
}

// The card's rows, in own words: one of slight pain or redness; two of pain, redness, swelling;
// pain with redness and induration; these with a palpable cord; these with fever.
TEST(Grades, All64CombinationsAreWhatTheRowsOfTheCardSay) {
  const std::vector<CardRow> card = {
      {0, {}, ""},          {1, {"P", "E"}, "PE", 1}, {2, {"PE", "PS", "ES"}, "PES"},
      {3, {"PEI"}, "PESI"}, {4, {"PEIC"}, "PESIC"},   {5, {"PEICF"}, "PESICF"},
  };
  int determinate = 0;
  for (unsigned set = 0; set < 64; ++set) {
    const std::string present = Subset("PESICF", set);
    const auto range = PhlebitisGradeRange(kVisualInfusionPhlebitis, SignsOf(present));
    ASSERT_TRUE(range.has_value()) << present;
    const auto expected = ByCard(card, present);
    EXPECT_EQ(range->floor, expected.first) << present;
    EXPECT_EQ(range->ceiling, expected.second) << present;
    EXPECT_EQ(PhlebitisGradeProven(kVisualInfusionPhlebitis, SignsOf(present)), expected.first);
    if (range->floor == range->ceiling) ++determinate;
  }
  EXPECT_EQ(determinate, 13);
}

// Rows of the scale of the Infusion Nurses Society, in own words: redness with or without pain;
// pain with redness or swelling; these with a streak and a cord; these with a cord beyond an inch
// and pus. The length of a cord is not told, so a cord may be of grade 4 and proves grade 3.
TEST(InsGrades, All64CombinationsAreWhatTheRowsOfTheScaleSay) {
  const std::vector<CardRow> card = {
      {0, {}, ""},       {1, {"E"}, "PE"}, {2, {"PE", "PS"}, "PES"}, {3, {"PEKC", "PSKC"}, "PESK"},
      {4, {}, "PESKCU"},
  };
  for (unsigned set = 0; set < 64; ++set) {
    const std::string present = Subset("PESKCU", set);
    const auto range = PhlebitisGradeRange(kInsPhlebitis, InsSignsOf(present));
    ASSERT_TRUE(range.has_value()) << present;
    const auto expected = ByCard(card, present);
    EXPECT_EQ(range->floor, expected.first) << present;
    EXPECT_EQ(range->ceiling, std::max(expected.first, expected.second)) << present;
    EXPECT_EQ(PhlebitisGradeProven(kInsPhlebitis, InsSignsOf(present)), expected.first);
  }
}

}  // namespace
}  // namespace dwell::due
