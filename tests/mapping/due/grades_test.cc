// The computed phlebitis grade: all 64 combinations of the six signs.
// Rows of the scale: A. Jackson, Nursing Times 1998;94(4):68-71 (citation from memory); the reading
// of combinations that it does not list (floor and ceiling) is ours.
#include <gtest/gtest.h>

#include <map>
#include <string>

#include "mapping/due/due.h"

namespace dwell::due {
namespace {

using event::Finding;

/// P pain, E erythema, S swelling, I induration, C palpable cord, F pyrexia; the others absent.
event::Signs SignsOf(const std::string& letters) {
  const auto finding = [&letters](char letter) {
    return letters.find(letter) == std::string::npos ? Finding::kAbsent : Finding::kPresent;
  };
  event::Signs signs;
  signs.pain = finding('P');
  signs.erythema = finding('E');
  signs.swelling = finding('S');
  signs.induration = finding('I');
  signs.palpable_cord = finding('C');
  signs.pyrexia = finding('F');
  return signs;
}

std::string Range(const std::string& letters) {
  const auto range = PhlebitisGradeRange(SignsOf(letters));
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
    EXPECT_FALSE(PhlebitisGradeRange(signs).has_value());
  }
  EXPECT_FALSE(PhlebitisGradeRange({}).has_value()) << "nothing asked is not grade 0";
}

TEST(Grades, WhatIsPresentProvesItsGradeWhateverIsOpen) {
  event::Signs signs;
  EXPECT_EQ(PhlebitisGradeProven(signs), 0);
  signs.pain = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(signs), 1);
  signs.swelling = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(signs), 2);
  signs.erythema = Finding::kNotAssessable;
  signs.induration = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(signs), 2);
  signs.erythema = Finding::kPresent;
  EXPECT_EQ(PhlebitisGradeProven(signs), 3);
}

}  // namespace
}  // namespace dwell::due
