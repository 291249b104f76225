// Device identifiers taken apart, against published examples of the issuers and of FHIR.
#include "mapping/event/udi.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

namespace dwell::event {
namespace {

/// For failure messages and comparison in one: "issuer device produced expires lot serial others".
std::string Told(const Udi& udi) {
  constexpr const char* kIssuers[] = {"none", "gs1", "hibcc"};
  std::string text = kIssuers[static_cast<int>(udi.issuer)];
  for (const std::string* part : {&udi.device, &udi.produced, &udi.expires, &udi.lot, &udi.serial})
    text += " " + (part->empty() ? "-" : *part);
  for (const UdiPart& part : udi.other) text += " " + part.name + "=" + part.value;
  return text;
}

constexpr int kYear = 2026;

/// What Told() says of it, or the rule it breaks.
std::string Parse(std::string_view scanned, int year = kYear, std::string_view known_lot = {}) {
  const auto udi = ParseUdi(scanned, year, known_lot);
  if (udi) return Told(*udi);
  EXPECT_FALSE(udi.error().expected.empty());
  return std::string(udi.error().rule);
}

TEST(Udi, Gs1CheckDigitsOfPublishedNumbersPass) {
  struct Row {
    const char* number;
    const char* source;
  };
  const Row table[] = {
      {"6291041500213", "GS1, how to calculate a check digit manually (from memory)"},
      {"00844588003288", "HL7 FHIR R4, example Device/example-udi1, carrierHRF"},
      {"10857674002017", "HL7 FHIR R4, example Device/example-udi1, carrierAIDC"},
      {"51022222233336", "FDA, UDI formats by FDA-accredited issuing agency, 1.3, 2017"},
      {"98412345678908", "python-stdnum documentation, stdnum.ean"},
      {"9780471117094", "python-stdnum documentation, stdnum.ean"},
      {"73513537", "python-stdnum documentation, stdnum.ean"},
  };
  for (const Row& row : table) {
    std::string number = row.number;
    EXPECT_TRUE(Gs1CheckDigitPasses(number)) << number << ": " << row.source;
    for (int i = 0; i < 9; ++i) {
      number.back() = number.back() == '9' ? '0' : static_cast<char>(number.back() + 1);
      EXPECT_FALSE(Gs1CheckDigitPasses(number)) << number;
    }
  }
  EXPECT_FALSE(Gs1CheckDigitPasses("")) << "no number at all";
  EXPECT_FALSE(Gs1CheckDigitPasses("0000000000")) << "no GS1 number has 10 digits";
}

TEST(Udi, PublishedGs1ExamplesComeApartAsPublished) {
  struct Row {
    std::string scanned;
    const char* parts;
    const char* source;
  };
  const Row table[] = {
      {"(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234",
       "gs1 51022222233336 2014-12-31 2015-07-07 A213B1 1234",
       "FDA, UDI formats by FDA-accredited issuing agency, 1.3, 2017"},
      // The resource shows U+2194 where the symbol has a separator.
      {"]d201108576740020171714112010NYFUL01\x1d"
       "21192837\x1d"
       "713A1B2C3D4E5F6G",
       "gs1 10857674002017 - 2014-11-20 NYFUL01 192837 713=A1B2C3D4E5F6G",
       "HL7 FHIR R4, example Device/example-udi1, carrierAIDC decoded"},
      {"{01}00844588003288{17}141120{10}7654321D{21}10987654d321",
       "gs1 00844588003288 - 2014-11-20 7654321D 10987654d321",
       "the same example, carrierHRF: braces, and another device than its carrierAIDC"},
  };
  for (const Row& row : table) EXPECT_EQ(Parse(row.scanned), row.parts) << row.source;
}

TEST(Udi, AGs1ScanIsReadWithAndWithoutSymbologyIdentifierAndSeparators) {
  const std::string parts = "gs1 09506000134352 - 2028-02-29 C-77810 S-0042";
  const std::string scan =
      "010950600013435217280229"
      "10C-77810\x1d"
      "21S-0042";
  for (const char* symbol : {"", "]d2", "]C1", "]Q3", "]e0", "\x1d", "]d2\x1d"}) {
    EXPECT_EQ(Parse(symbol + scan), parts) << symbol;
    EXPECT_EQ(Parse(symbol + scan + "\x1d"), parts) << "a separator at the end does no harm";
  }
  EXPECT_EQ(Parse("0109506000134352\x1d"
                  "17280229\x1d"
                  "10C-77810\x1d"
                  "21S-0042"),
            parts)
      << "nor one after a fixed length";
  EXPECT_EQ(Parse("(01)09506000134352(17)280229(10)C-77810(21)S-0042"), parts);
  EXPECT_EQ(Parse("0109506000134352"), "gs1 09506000134352 - - - -");
  EXPECT_EQ(Parse("]C1"
                  "17280229"
                  "10C-77810"),
            "gs1 - - 2028-02-29 C-77810 -")
      << "the second of two symbols names no device";
  EXPECT_EQ(Parse("(01)09506000134352(10)A(B)1"), "gs1 09506000134352 - - A(B)1 -")
      << "parentheses are characters of a lot as well";
  EXPECT_EQ(Parse("(01)09506000134352(3102)000150"), "gs1 09506000134352 - - - - 3102=000150");
}

TEST(Udi, DatesFollowTheGs1Rules) {
  struct Row {
    const char* digits;
    int year;
    const char* day;
  };
  // GS1 General Specifications, sections 3.4 and 7.12 (from memory): day 00 is the last of the
  // month; 51 and more years ahead mean the century before, 50 and more behind the one after.
  const Row table[] = {
      {"280200", 2026, "2028-02-29"}, {"270200", 2026, "2027-02-28"},
      {"280229", 2026, "2028-02-29"}, {"270229", 2026, ""},
      {"281301", 2026, ""},           {"280001", 2026, ""},
      {"280431", 2026, ""},           {"2804AB", 2026, ""},
      {"760101", 2026, "2076-01-01"}, {"770101", 2026, "1977-01-01"},
      {"490101", 2099, "2149-01-01"}, {"500101", 2099, "2050-01-01"},
      {"000131", 2099, "2100-01-31"}, {"990101", 2000, "1999-01-01"},
  };
  for (const Row& row : table) {
    const auto udi = ParseUdi(
        "0109506000134352"
        "17" +
            std::string(row.digits),
        row.year);
    if (*row.day != '\0') {
      ASSERT_TRUE(udi.has_value()) << row.digits;
      EXPECT_EQ(udi->expires, row.day) << row.digits << " in " << row.year;
    } else {
      ASSERT_FALSE(udi.has_value()) << row.digits;
      EXPECT_THAT(udi.error().rule, testing::AnyOf("udi-date", "udi-character")) << row.digits;
    }
  }
}

TEST(Udi, AFieldThatMayHoldAnotherIsRefusedAndNotGuessed) {
  const std::string gtin = "0109506000134352";
  for (const char* rest :
       {"10LOT21SER", "10LOT17280229", "10LOT1128022917290228", "10LOT1728022921S", "21SER10LOT",
        "1728022910L2103A", "10ABCDEFGHIJKLMNOPQRST21SERIAL"}) {
    EXPECT_EQ(Parse(gtin + rest), "udi-separator") << rest;
  }
  struct Row {
    const char* rest;
    const char* parts;
    const char* why;
  };
  const Row table[] = {
      {"10LOT\x1d"
       "21SER",
       "- - LOT SER", "separated"},
      {"1728022910L2103A\x1d", "- 2028-02-29 L2103A -", "its end is marked"},
      {"10C-77810", "- - C-77810 -", "an identifier without a value is no field"},
      {"10LOT17281329", "- - LOT17281329 -", "no such date"},
      {"10LOT10LOT", "- - LOT10LOT -", "no label has two lots"},
      {"1728022910LOT17280229", "- 2028-02-29 LOT17280229 -", "the expiry is there already"},
  };
  for (const Row& row : table) {
    EXPECT_EQ(Parse(gtin + row.rest), std::string("gs1 09506000134352 ") + row.parts) << row.why;
  }
  EXPECT_EQ(Parse(gtin + "1728022910L2103A", kYear, "L2103A"),
            "gs1 09506000134352 - 2028-02-29 L2103A -")
      << "staff gave the same lot: where it ends is known";
  EXPECT_EQ(Parse(gtin + "1728022910L2103A", kYear, "L"), "udi-separator");
}

TEST(Udi, BrokenGs1ScansSayWhatIsWrong) {
  struct Row {
    std::string scanned;
    const char* rule;
  };
  const Row table[] = {
      {"0109506000134353", "udi-check-digit"},
      {"(01)09506000134325", "udi-check-digit"},  // two digits swapped
      {"]d20109506000134", "udi-length"},
      {"]d2", "udi-length"},
      {"(01)9506000134352", "udi-length"},
      {"(01)09506000134352(10)", "udi-length"},
      {"010950600013435210ABCDEFGHIJKLMNOPQRSTU", "udi-length"},
      {"0109506000134352172802\x1d"
       "10LOT",
       "udi-length"},
      {"(01)0950600013435X", "udi-character"},
      {"010950600013435210LOT A", "udi-character"},  // GS1 has no space
      {"010950600013435210LOT#A", "udi-character"},
      {"0109506000134352"
       "99",
       "udi-length"},
      {"0109506000134352"
       "89X",
       "udi-unknown"},
      {"0109506000134352LOT", "udi-unknown"},
      {"(01)09506000134352(89)X", "udi-unknown"},
      {"(0109506000134352", "udi-unknown"},
      {"(01)09506000134352{10}LOT", "udi-length"},
      {"(01)09506000134352(10)A(10)B", "udi-disagrees"},
      {"(01)09506000134352(01)10857674002017", "udi-disagrees"},
      {"(01)09506000134352(99)A(99)B", "udi-disagrees"},
      // A separator inside the identifier that should follow it.
      {"0109506000134352172802291\x1d"
       "0C-77810",
       "udi-unknown"},
  };
  for (const Row& row : table) EXPECT_EQ(Parse(row.scanned), row.rule) << row.scanned;
}

TEST(Udi, PublishedHibcExamplesComeApartAsPublished) {
  struct Row {
    const char* scanned;
    const char* parts;
    const char* source;
  };
  const Row table[] = {
      {"+A123BJC5D6E71G", "hibcc A123BJC5D6E71 - - - -",
       "ANSI/HIBC 2.5, primary data, as shown in open parser documentation"},
      {"+A123ABCDEFGHI1234567891E", "hibcc A123ABCDEFGHI1234567891 - - - -",
       "ANSI/HIBC, product of 18 characters"},
      {"+X999123ABC0/$$31905151234AB/S5678EDFG/16D20151001J",
       "hibcc X999123ABC0 2015-10-01 2019-05-15 1234AB 5678EDFG", "HIBCC, UDI labelling example"},
      // The same body with each other form of the date; check characters recomputed by hand.
      {"+X999123ABC0/$$05191234AB/S5678EDFG/16D20151001A",
       "hibcc X999123ABC0 2015-10-01 2019-05 1234AB 5678EDFG", "MMYY"},
      {"+X999123ABC0/$$20515191234AB/S5678EDFG/16D20151001I",
       "hibcc X999123ABC0 2015-10-01 2019-05-15 1234AB 5678EDFG", "2 MMDDYY"},
      {"+X999123ABC0/$$4190515121234AB/S5678EDFG/16D20151001N",
       "hibcc X999123ABC0 2015-10-01 2019-05-15 1234AB 5678EDFG expiry-hour=12", "4 YYMMDDHH"},
      {"+X999123ABC0/$$5191351234AB/S5678EDFG/16D20151001J",
       "hibcc X999123ABC0 2015-10-01 2019-05-15 1234AB 5678EDFG", "5 YYJJJ"},
      {"+X999123ABC0/$$619135121234AB/S5678EDFG/16D20151001N",
       "hibcc X999123ABC0 2015-10-01 2019-05-15 1234AB 5678EDFG expiry-hour=12", "6 YYJJJHH"},
      {"+A99912345/$$52001510X3/16D20111212/S77DE1G45-",
       "hibcc A99912345 2011-12-12 2020-01-15 10X3 77DE1G45",
       "ANSI/HIBC 2.4, UDI example, as shown in open parser documentation"},
      {"+A123BJC5D6E71/$$52001510X3C", "hibcc A123BJC5D6E71 - 2020-01-15 10X3 -",
       "published by a maker of bar code fonts; check character recomputed"},
      {"*+A123BJC5D6E71G*", "hibcc A123BJC5D6E71 - - - -",
       "HIBCC, primary data formatter: the caption stands between asterisks"},
  };
  for (const Row& row : table) EXPECT_EQ(Parse(row.scanned), row.parts) << row.source;
}

/// `body` with the check character of HIBC behind it, computed here once more.
std::string Checked(const std::string& body) {
  const std::string alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";
  std::size_t sum = 0;
  for (const char c : body) sum += alphabet.find(c);
  return body + alphabet[sum % 43];
}

TEST(Udi, EveryFormOfHibcSecondaryDataIsRead) {
  struct Row {
    const char* body;
    const char* parts;
  };
  const Row table[] = {
      {"+A99912345/$10X3", "A99912345 - - 10X3 -"},
      {"+A99912345/$+77DE", "A99912345 - - - 77DE"},
      {"+A99912345/$$+0128S1", "A99912345 - 2028-01 - S1"},
      {"+A99912345/$$+52801577DE", "A99912345 - 2028-01-15 - 77DE"},
      {"+A99912345/$$+777DE", "A99912345 - - - 77DE"},
      {"+A99912345/$$710X3", "A99912345 - - 10X3 -"},
      {"+A99912345/$$824012810X3", "A99912345 - 2028-01 10X3 - Q=24"},
      {"+A99912345/$$90010032801150", "A99912345 - 2028-01-15 0 - Q=00100"},
      {"+A99912345/$$824", "A99912345 - - - - Q=24"},
      {"+A99912345/2836610X3", "A99912345 - 2028-12-31 10X3 -"},
      {"+A99912345/$10X3/14D20280229/16D20260301/Q12/25PX",
       "A99912345 2026-03-01 2028-02-29 10X3 - Q=12 25P=X"},
      {"+A99912345/$$012810X3/14D20280115", "A99912345 - 2028-01-15 10X3 -"},
      {"+$$0128LOT1G", "- - 2028-01 LOT1 -"},  // alone: G links it to its primary
      {"+28001LOT1G", "- - 2028-01-01 LOT1 -"},
  };
  for (const Row& row : table) {
    EXPECT_EQ(Parse(Checked(row.body)), std::string("hibcc ") + row.parts) << row.body;
  }
}

TEST(Udi, BrokenHibcScansSayWhatIsWrong) {
  struct Row {
    std::string scanned;
    const char* rule;
  };
  const Row table[] = {
      {"+A123BJC5D6E71H", "udi-check-digit"},
      {"+A123BCJ5D6E71/$$52001510X3/C", "udi-check-digit"},
      {"+a123BJC5D6E71G", "udi-character"},
      {"+A123BJC5D6E71g", "udi-character"},
      {Checked("+A123BJC5D6EX"), "udi-character"},  // no unit of measure
      {Checked("+A1231"), "udi-length"},
      {Checked("+A123ABCDEFGHI12345678901"), "udi-length"},
      {"+A1", "udi-length"},
      {Checked("+A99912345/$10X3/S1234567890123456789"), "udi-length"},
      {Checked("+A99912345/$$32801"), "udi-length"},
      {Checked("+A99912345/$$82"), "udi-length"},
      {Checked("+A99912345/$$3280230L"), "udi-date"},
      {Checked("+A99912345/$$3280200L"), "udi-date"},
      {Checked("+A99912345/$$1328L"), "udi-date"},
      {Checked("+A99912345/$$527366L"), "udi-date"},
      {Checked("+A99912345/$$528000L"), "udi-date"},
      {Checked("+A99912345/$$42802292 4L"), "udi-date"},
      {Checked("+A99912345/$$42802"
               "2924L"),
       "udi-date"},
      {Checked("+A99912345/16D20271301"), "udi-date"},
      {Checked("+A99912345/"), "udi-unknown"},
      {Checked("+A99912345/1234X5"), "udi-unknown"},
      {Checked("+A99912345/$$012810X3/14D20280215"), "udi-disagrees"},
      {Checked("+A99912345/$+S1/S2ND"), "udi-disagrees"},
      // EUDAMED help: a Basic UDI-DI is not the identifier of a device.
      {"++A999MODELIDENTIFIER11S8", "udi-unknown"},
      {"+/EO523201", "udi-unknown"},
  };
  for (const Row& row : table) EXPECT_EQ(Parse(row.scanned), row.rule) << row.scanned;
}

TEST(Udi, OneWrongCharacterUnderACheckIsAlwaysSeen) {
  const std::string hibc = "+X999123ABC0/$$31905151234AB/S5678EDFG/16D20151001J";
  for (std::size_t at = 1; at < hibc.size(); ++at) {
    for (const char other : std::string("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%")) {
      std::string wrong = hibc;
      wrong[at] = other;
      EXPECT_EQ(ParseUdi(wrong, kYear).has_value(), wrong == hibc) << wrong;
    }
  }
  const std::string gs1 = "(01)51022222233336";
  for (std::size_t at = 4; at < gs1.size(); ++at) {
    for (char digit = '0'; digit <= '9'; ++digit) {
      std::string wrong = gs1;
      wrong[at] = digit;
      EXPECT_EQ(ParseUdi(wrong, kYear).has_value(), wrong == gs1) << wrong;
    }
  }
}

TEST(Udi, TheHibcCheckCharacterCannotSeeSwappedCharacters) {
  // It is a sum without weights: what this check is worth, so that nobody takes it for more.
  EXPECT_EQ(Parse("+A123BJC5D6E71G"), "hibcc A123BJC5D6E71 - - - -");
  EXPECT_EQ(Parse("+A123BJC5D6E17G"), "hibcc A123BJC5D6E17 - - - -");
}

TEST(Udi, ATextOfNeitherIssuerHasNoParts) {
  for (const char* text :
       {"REF 381-234 LOT 7", "51022222233336", "6291041500214", "01", "010203", "(left arm)",
        "=/A9999XYZ100T0944=,000025", "x", "]A0381234", "https://device.example/01/09506000134352",
        "[)>\03606\03525PX\036\004"}) {
    EXPECT_EQ(Parse(text), "none - - - - -") << text;
  }
}

TEST(Udi, AScannersFormIsToldFromAPrintedOne) {
  for (const char* text : {"]d20109506000134352",
                           "0109506000134352"
                           "10L\x1d"
                           "21S",
                           "]A0X"})
    EXPECT_TRUE(IsScannerForm(text)) << text;
  for (const char* text : {"(01)09506000134352", "0109506000134352", "+A123BJC5D6E71G", "]", "] x"})
    EXPECT_FALSE(IsScannerForm(text)) << text;
}

TEST(Udi, AMonthAgreesWithItsDays) {
  EXPECT_TRUE(DatesAgree("2028-02", "2028-02-29"));
  EXPECT_TRUE(DatesAgree("2028-02-29", "2028-02"));
  EXPECT_TRUE(DatesAgree("2028-02-29", "2028-02-29"));
  EXPECT_FALSE(DatesAgree("2028-02-29", "2028-02-28"));
  EXPECT_FALSE(DatesAgree("2028-03", "2028-02-28"));
}

}  // namespace
}  // namespace dwell::event
