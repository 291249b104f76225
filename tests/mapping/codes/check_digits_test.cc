// Check digits of SNOMED CT and LOINC, on identifiers published elsewhere.
#include "mapping/codes/check_digits.h"

#include <gtest/gtest.h>

namespace dwell::codes {
namespace {

TEST(Verhoeff, HoldsForPublishedExamples) {
  // From memory: the example of most descriptions of the algorithm, 236 with the digit 3.
  EXPECT_TRUE(PassesVerhoeff("2363"));
  EXPECT_FALSE(PassesVerhoeff("2364"));
  EXPECT_FALSE(PassesVerhoeff(""));
  EXPECT_FALSE(PassesVerhoeff("23 63"));
}

TEST(Verhoeff, FindsEveryWrongDigitAndEveryTurnedPair) {
  const std::string right = "82449006";
  for (std::size_t i = 0; i < right.size(); ++i) {
    for (char digit = '0'; digit <= '9'; ++digit) {
      std::string wrong = right;
      wrong[i] = digit;
      EXPECT_EQ(PassesVerhoeff(wrong), wrong == right) << wrong;
    }
    if (i == 0 || right[i] == right[i - 1]) continue;
    std::string turned = right;
    std::swap(turned[i], turned[i - 1]);
    EXPECT_FALSE(PassesVerhoeff(turned)) << turned;
  }
}

TEST(SnomedConceptId, IsTellableByFormPartitionAndCheckDigit) {
  const std::pair<const char*, bool> kCases[] = {
      {"82449006", true},    // Global Patient Set
      {"1344705000", true},  // as above, ten digits
      {"82449007", false},   // check digit
      {"450540002", false},  // met in public, no identifier
      {"19949000", false},   // likewise
      {"82449", false},      // too short
      {"082449006", false},  // no leading zero
      {"824490011", false},  // a right check digit, but the partition of descriptions, 01
      {"82449006 ", false}, {"8244 9006", false}, {"x", false},
  };
  for (const auto& [code, right] : kCases) EXPECT_EQ(IsSnomedConceptId(code), right) << code;
  EXPECT_TRUE(PassesVerhoeff("824490011"));
}

TEST(LoincNumber, IsTellableByFormAndCheckDigit) {
  const std::pair<const char*, bool> kCases[] = {
      {"8310-5", true},   // hl7.fhir.r4.examples 4.0.1
      {"67543-9", true},  // GitHub aehrc/mimic-profiles
      {"8310-6", false}, {"83105", false}, {"-5", false}, {"8310-x", false}, {"8310-55", false},
  };
  for (const auto& [code, right] : kCases) EXPECT_EQ(IsLoincNumber(code), right) << code;
}

TEST(WrongForm, JudgesOnlyWhatItCan) {
  EXPECT_TRUE(WrongForm(kSnomedCt, "82449007").has_value());
  EXPECT_TRUE(WrongForm(kSnomedCt, "82449006x").has_value());
  EXPECT_FALSE(WrongForm(kSnomedCt, "66480008:272741003=7771000").has_value());
  EXPECT_TRUE(WrongForm(kLoinc, "8310-6").has_value());
  EXPECT_FALSE(WrongForm(kLoinc, "LA6560-2").has_value());
  EXPECT_FALSE(WrongForm("urn:x", "82449007").has_value());
}

}  // namespace
}  // namespace dwell::codes
