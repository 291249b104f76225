// Check digits of patient identifiers, against worked values published by those who issue them.
#include "mapping/event/identifiers.h"

#include <gtest/gtest.h>

#include <string>
#include <string_view>

namespace dwell::event {
namespace {

constexpr const char* kNhs = "https://fhir.nhs.uk/Id/nhs-number";
constexpr const char* kChi = "urn:oid:2.16.840.1.113883.2.1.3.2.4.16.53";
constexpr const char* kHcn = "https://fhir.nhs.uk/Id/hsc-number";
constexpr const char* kIhi = "http://ns.electronichealth.net.au/id/hi/ihi/1.0";
constexpr const char* kNhi = "https://standards.digital.health.nz/ns/nhi-id";
constexpr const char* kNorway = "urn:oid:2.16.578.1.12.4.1.4.1";
constexpr const char* kSweden = "urn:oid:1.2.752.129.2.1.3.1";
constexpr const char* kBsn = "http://fhir.nl/fhir/NamingSystem/bsn";
constexpr const char* kNir = "urn:oid:1.2.250.1.213.1.4.8";
constexpr const char* kSsn = "http://hl7.org/fhir/sid/us-ssn";
constexpr const char* kCpr = "urn:oid:1.2.208.176.1.2";

struct Row {
  const char* system;
  const char* value;
  Verdict verdict;
  const char* source;
};

constexpr Verdict kYes = Verdict::kPasses;
constexpr Verdict kNo = Verdict::kFails;
constexpr Verdict kOdd = Verdict::kDoubtful;

constexpr Row kTable[] = {
    {kNhs, "4010232137", kYes, "NHS Information Authority check digit page, archived 2005"},
    {kNhs, "9434765919", kYes, "Wikipedia, NHS number, worked sum 299"},
    {kNhs, "9434765870", kYes, "python-stdnum documentation; remainder 0"},
    {kNhs, "9876543210", kYes, "recomputed from the rule: sum 330"},
    {kNhs, "9876544321", kNo, "often printed as an example of the format only"},
    {kNhs, "9990000000", kNo, "999000000 gives 10: number not used (NHS Data Dictionary)"},
    {kNhs, "9991234560", kNo, "999123456 gives 10: number not used"},
    {kChi, "3112999991", kYes, "recomputed from the rule: 311299999"},
    {kChi, "3113999991", kNo, "no 31st day in month 13"},
    {kChi, "3012999991", kNo, "wrong check digit"},
    {kChi, "0101010010", kNo, "recomputed: 010101001 gives 10, never issued, with 0"},
    {kChi, "0101010011", kNo, "recomputed: 010101001 gives 10, never issued, with 1"},
    {kChi, "112999991", kNo, "the leading digit is lost"},
    {kHcn, "3200000015", kYes, "recomputed from the rule"},
    {kHcn, "3200000023", kYes, "recomputed from the rule"},
    {kHcn, "3200000031", kYes, "recomputed from the rule"},
    {kHcn, "3200000090", kYes, "recomputed from the rule: 11 counts as 0"},
    {kHcn, "3200000016", kNo, "wrong check digit"},
    {kHcn, "3200000040", kNo, "recomputed: 320000004 gives 10, never issued"},
    {"https://fhir.hscni.net/Id/hcn", "3200000016", kNo, "the other system of the same number"},
    {kIhi, "8003608833357361", kYes, "HL7 AU Base, example patient"},
    {"urn:oid:1.2.36.1.2001.1003.0", "8003608833357361", kYes, "the same, by object identifier"},
    {kIhi, "8003608166690503", kYes, "HL7 AU Base, from memory; recomputed"},
    {kIhi, "8003608833357362", kNo, "last digit changed"},
    {kIhi, "8003618833357361", kNo, "does not start 800360: invariant inv-ihi-value-1"},
    {kIhi, "800360883335736", kNo, "15 digits: invariant inv-ihi-value-0"},
    {kNhi, "ZAC5361", kYes, "HISO 10046, worked example"},
    {kNhi, "ZZZ0016", kYes, "HISO 10046, test number"},
    {kNhi, "ZZZ0024", kYes, "HISO 10046, test number"},
    {kNhi, "ABC1235", kYes, "HISO 10046"},
    {kNhi, "ZZZ0040", kNo, "HISO 10046: remainder 0 is never valid"},
    {kNhi, "ZZZ0041", kNo, "HISO 10046: remainder 0 is never valid"},
    {kNhi, "ZZZ0017", kNo, "wrong check digit"},
    {kNhi, "ZIC5361", kNo, "I and O are not used"},
    {kNhi, "ZBN77VL", kYes, "HISO 10046:2023, table 3"},
    {kNhi, "ZZZ00AC", kYes, "HISO 10046:2023, table 3"},
    {kNhi, "ZVU27KE", kYes, "HISO 10046:2023, table 3"},
    {kNhi, "ZXE24NV", kYes, "HISO 10046:2023, table 3"},
    {kNhi, "ZUA48EH", kYes, "HISO 10046:2023, table 3"},
    {kNhi, "ZYZ89XY", kYes, "HISO 10046:2023, table 3: remainder 0"},
    {kNhi, "ZZZ00AA", kNo, "HISO 10046:2023"},
    {kNhi, "ZZZ00AX", kNo, "right by the modulo 24 of an earlier draft only"},
    {"urn:oid:2.16.840.1.113883.2.18.2", "ZZZ00AX", kNo, "the same, by object identifier"},
    {kNhi, "ZZZ00A", kNo, "too short"},
    {kBsn, "111222333", kYes, "sum 66"},
    {kBsn, "123456782", kYes, "sum 154"},
    {kBsn, "111252333", kNo, "python-stdnum documentation"},
    {kBsn, "000000000", kNo, "sums to 0 and names nobody"},
    {kNorway, "15108695088", kYes, "python-stdnum documentation"},
    {kNorway, "15108695077", kNo, "python-stdnum documentation"},
    {"urn:oid:2.16.578.1.12.4.1.4.2", "15108695077", kNo, "D-numbers: the same rule"},
    {"urn:oid:2.16.578.1.12.4.1.4.3", "15108695088", kYes, "H-numbers: the same rule, from memory"},
    {"urn:oid:2.16.578.1.12.4.1.4.3", "15108695077", kOdd, "and so not refused"},
    {kSweden, "880320-0016", kYes, "python-stdnum documentation"},
    {kSweden, "890102-3286", kYes, "python-stdnum documentation"},
    {kSweden, "8112289841", kYes, "python-stdnum documentation"},
    {kSweden, "198112289841", kYes, "with the century, which takes no part in the check"},
    {kSweden, "811228+9841", kYes, "the sign from the age of 100 on"},
    {kSweden, "880320-0018", kNo, "python-stdnum documentation"},
    {"http://electronichealth.se/identifier/personnummer", "880320-0018", kNo, "the same number"},
    {kCpr, "211062-5629", kYes, "python-stdnum documentation"},
    {kCpr, "0707614285", kYes, "from memory; recomputed"},
    {kCpr, "2110625628", kOdd, "not guaranteed since 2007"},
    {kNir, "295109912611193", kYes, "python-stdnum documentation, written there with blanks"},
    {kNir, "253072B07300470", kYes, "python-stdnum documentation; 2B counts as 18"},
    {kNir, "253072A07300443", kYes, "python-stdnum documentation; 2A counts as 19"},
    {kNir, "253072C07300443", kNo, "python-stdnum documentation: there is no 2C"},
    {kNir, "253072A07300470", kNo, "the key of 2B under 2A"},
    {kNir, "2951099126111", kNo, "without its key"},
    {"urn:oid:1.2.250.1.213.1.4.9", "295109912611194", kNo, "wrong key"},
    {"urn:oid:1.2.250.1.213.1.4.10", "295109912611194", kNo, "wrong key"},
    {"urn:oid:1.2.250.1.213.1.4.11", "295109912611194", kNo, "wrong key"},
    {kSsn, "078-05-1120", kOdd, "python-stdnum documentation: printed on sample cards"},
    {kSsn, "536-90-4399", kYes, "python-stdnum documentation, from memory"},
    {kSsn, "536904399", kYes, "the same without hyphens"},
    {kSsn, "666-90-4399", kOdd, "area 666 is never issued, from memory"},
    {kSsn, "900-90-4399", kOdd, "areas from 900 on are never issued, from memory"},
    {kSsn, "536-00-4399", kOdd, "group of zeros, from memory"},
    {kNhs, "0000000000", kNo, "sums to 0 and names nobody"},
    {kChi, "0000000000", kNo, "sums to 0 and names nobody"},
    {kNorway, "00000000000", kNo, "sums to 0 and names nobody"},
    {kSweden, "000000-0000", kNo, "sums to 0 and names nobody"},
    {kCpr, "000000-0000", kOdd, "sums to 0 and names nobody"},
    {"https://hospital.example/mrn", "anything at all", Verdict::kUnknownSystem, "no rule known"},
};

TEST(Identifiers, PublishedExamplesPassOrFailAsPublished) {
  for (const Row& row : kTable) {
    EXPECT_EQ(JudgeIdentifier(row.system, row.value), row.verdict)
        << row.system << " " << row.value << ": " << row.source;
  }
}

// A digit changed by 1 to 9 times a weight that the prime modulus does not divide changes the
// remainder; Luhn maps the ten digits to ten values. So every scheme with check digits guarantees
// this. The century of a Swedish number takes no part in its check, and a number without check
// digit guarantees nothing.
TEST(Identifiers, EveryValidNumberWithOneDigitChangedIsNoticed) {
  int changed = 0;
  for (const Row& row : kTable) {
    if (row.verdict != kYes || std::string_view(row.system) == kSsn) continue;
    const std::string right = row.value;
    const bool century = std::string_view(row.system) == kSweden && right.size() == 12;
    for (std::size_t i = century ? 2 : 0; i < right.size(); ++i) {
      if (right[i] < '0' || right[i] > '9') continue;
      for (char digit = '0'; digit <= '9'; ++digit) {
        if (digit == right[i]) continue;
        std::string wrong = right;
        wrong[i] = digit;
        EXPECT_NE(JudgeIdentifier(row.system, wrong), kYes) << row.system << " " << wrong;
        ++changed;
      }
    }
  }
  EXPECT_GT(changed, 2800);
}

// NHS Data Model and Dictionary: test range 999 000 0000 to 999 999 9999, one for every check
// digit.
TEST(Identifiers, TestNumbersWithEveryCheckDigitPassAndWithAnyOtherFail) {
  for (std::string number :
       {"9990000050", "9990000131", "9990000042", "9990000093", "9990000034", "9990000085",
        "9990000026", "9990000077", "9990000018", "9990000069"}) {
    const char right = number.back();
    for (char digit = '0'; digit <= '9'; ++digit) {
      number.back() = digit;
      EXPECT_EQ(JudgeIdentifier(kNhs, number), digit == right ? Verdict::kPasses : Verdict::kFails)
          << number;
    }
  }
}

TEST(Identifiers, AnNhsNumberMayComeInGroupsAndGoesOutAsDigits) {
  EXPECT_EQ(NormalIdentifier(kNhs, "999 000 0018"), "9990000018");
  EXPECT_EQ(NormalIdentifier(kNhs, "999-000-0018"), "9990000018");
  for (const char* value : {"999 000 0018", "999-000-0018", "9990000018"}) {
    EXPECT_EQ(JudgeIdentifier(kNhs, value), Verdict::kPasses) << value;
  }
  for (const char* value : {"999 0000 018", " 9990000018", "9990000018 ", "999.000.0018",
                            "999  000 0018", "99900000I8", "999000018", "99900000180", ""}) {
    EXPECT_EQ(JudgeIdentifier(kNhs, value), Verdict::kFails) << value;
  }
}

TEST(Identifiers, OtherSystemsValuesAreNeverTouched) {
  EXPECT_EQ(NormalIdentifier(kSweden, "811228+9841"), "811228+9841");
  EXPECT_EQ(NormalIdentifier("https://hospital.example/mrn", "12 34-5"), "12 34-5");
}

TEST(Identifiers, ADoubtNamesPlaceAndSystemAndNeverTheNumber) {
  const Patient patient{kNhs, "9990000018", Identifier{kCpr, "2110625628"}};
  const auto doubts = DoubtsAbout(patient);
  ASSERT_EQ(doubts.size(), 1U);
  EXPECT_EQ(doubts[0].system, kCpr);
  EXPECT_EQ(doubts[0].problem.pointer, "/patient/second/value");
  EXPECT_EQ(doubts[0].problem.rule, "check-digit");
  EXPECT_NE(doubts[0].problem.expected.find("2007"), std::string::npos);
  EXPECT_EQ(doubts[0].problem.expected.find("2110"), std::string::npos);
  EXPECT_EQ(DoubtsAbout({kCpr, "2110625628", Identifier{kCpr, "0102030405"}}).size(), 2U);
  EXPECT_TRUE(DoubtsAbout({kCpr, "211062-5629", {}}).empty());
  EXPECT_TRUE(DoubtsAbout({kNhs, "9990000019", {}}).empty()) << "refused before, not doubted";
  EXPECT_TRUE(DoubtsAbout({"https://hospital.example/mrn", "12", {}}).empty());
}

TEST(Identifiers, AProblemNeverCarriesTheNumber) {
  const auto problem = CheckIdentifier(kNhs, "9990000019", "/patient/value");
  ASSERT_TRUE(problem.has_value());
  EXPECT_EQ(problem->pointer, "/patient/value");
  EXPECT_EQ(problem->rule, "check-digit");
  EXPECT_EQ(problem->expected.find("999"), std::string::npos);
  EXPECT_FALSE(CheckIdentifier(kCpr, "2110625628", "/patient/value").has_value());
}

}  // namespace
}  // namespace dwell::event
