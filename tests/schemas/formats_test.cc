// Formats against the patterns that FHIR R4 publishes (hl7.org/fhir/R4/datatypes.html, 4.0.1), run
// by std::regex, and what they leave open: the calendar, empty texts.
#include "schemas/formats.h"

#include <gmock/gmock.h>

#include <map>
#include <regex>
#include <set>
#include <string>

#include "schemas/calendar.h"
#include "schemas/decimal.h"
#include "schemas/xhtml.h"

namespace dwell::schemas {
namespace {

#define YEAR "([0-9]([0-9]([0-9][1-9]|[1-9]0)|[1-9]00)|[1-9]000)"
#define MONTH "(0[1-9]|1[0-2])"
#define DAY "(0[1-9]|[1-2][0-9]|3[0-1])"
#define CLOCK "([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\\.[0-9]+)?"
#define OFFSET "(Z|(\\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00))"

const std::map<std::string, std::string> kPublished = {
    {"fhir-id", "[A-Za-z0-9\\-\\.]{1,64}"},
    {"fhir-code", "[^\\s]+(\\s[^\\s]+)*"},
    {"fhir-uri", "\\S*"},
    {"fhir-date", YEAR "(-" MONTH "(-" DAY ")?)?"},
    {"fhir-dateTime", YEAR "(-" MONTH "(-" DAY "(T" CLOCK OFFSET ")?)?)?"},
    {"fhir-instant", YEAR "-" MONTH "-" DAY "T" CLOCK OFFSET},
    {"fhir-time", CLOCK},
    {"fhir-base64Binary", "(\\s*([0-9a-zA-Z\\+/=]){4}\\s*)+"},
    {"fhir-decimal", "-?(0|[1-9][0-9]*)(\\.[0-9]+)?([eE][+-]?[0-9]+)?"},
    {"fhir-integer", "-?([0]|([1-9][0-9]*))"},
    {"fhir-positiveInt", "[1-9][0-9]*"},
    {"fhir-unsignedInt", "[0]|([1-9][0-9]*)"},
    {"fhir-integer64", "[0]|[-+]?[1-9][0-9]*"},  // R5, hl7.org/fhir/R5/datatypes.html
    {"fhir-string", "[ \\r\\n\\t\\S]+"},
    {"fhir-oid", "urn:oid:[0-2](\\.(0|[1-9][0-9]*))+"},
    {"fhir-uuid", "urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}"},
};

struct Samples {
  const char* format;
  std::vector<std::string> right;
  std::vector<std::string> wrong;
  std::vector<std::string> stricter;  ///< refused although the published pattern lets them pass
};

const Samples kSamples[] = {
    {"fhir-id",
     {"a", "A-1.b", "314", std::string(64, 'x')},
     {"", "a_b", "a b", "é", "a/b", std::string(65, 'x')},
     {}},
    {"fhir-code", {"a", "a b", "male", "a-b_c/d", "é"}, {"", " a", "a ", "a  b", "\ta", "a\n"}, {}},
    {"fhir-uri",
     {"http://x.example/a?b#c", "urn:oid:1.2.3", "urn:uuid:c757873d-ec9a-4326-a141-556f43239520",
      "a"},
     {"a b", "a\tb", " ", "http://x.example/\n"},
     {""}},
    {"fhir-date",
     {"2026", "2026-03", "2026-03-27", "2024-02-29", "2000-02-29", "0001-01-01"},
     {"", "26", "2026-3", "2026-13", "2026-00", "2026-03-32", "2026-03-00", "2026-03-27T10:00:00Z",
      "0000", "2026-", "20260327", "2026-03-27Z"},
     {"2026-02-29", "2026-02-30", "1900-02-29", "2026-04-31"}},
    {"fhir-dateTime",
     {"2026", "2026-03", "2026-03-27", "2026-03-27T10:00:00Z", "2026-03-27T10:00:00.5+05:45",
      "2026-03-27T23:59:60-14:00"},
     {"2026-03-27T10:00Z", "2026-03-27T10:00:00", "2026-03-27T24:00:00Z", "2026-03-27T10:60:00Z",
      "2026-03-27T10:00:61Z", "2026-03-27T10:00:00+14:01", "2026-03-27T10:00:00+15:00",
      "2026-03-27T10:00:00.Z", "2026-03T10:00:00Z", "2026-03-27 10:00:00Z", "2026-03-27t10:00:00z",
      "2026-03-27T10:00:00+0100"},
     {"2026-02-30T10:00:00Z"}},
    {"fhir-instant",
     {"2026-03-27T10:00:00Z", "2026-03-27T10:00:00.123456+13:45"},
     {"2026", "2026-03-27", "2026-03-27T10:00:00", "2026-03-27T10:00Z"},
     {"2025-02-29T00:00:00Z"}},
    {"fhir-time",
     {"00:00:00", "23:59:60", "10:00:00.25"},
     {"", "24:00:00", "10:00", "10:00:00Z", "1:00:00", "10:00:00."},
     {}},
    {"fhir-base64Binary",
     {"YQ==", "YWI=", "YWJj", "YWJj YWJj", "AAAA\nBBBB", "+/+/"},
     {"", "YQ", "YQ=", "Y?==", "YWJj\u00e9"},
     {"====", "=YWJ", "Y===", "YQ==YWJj"}},
    {"fhir-decimal",
     {"0", "-0", "2.50", "1e2", "1E-2", "-12.5", "0.0", "123456789012345678901234567890"},
     {"", "01", ".5", "5.", "+1", "1e", "1e+", "--1", "NaN", "1 "},
     {}},
    {"fhir-integer",
     {"0", "-1", "2147483647", "-2147483648"},
     {"", "1.0", "1e2", "01", "+1", "a"},
     {"2147483648", "-2147483649"}},
    {"fhir-positiveInt", {"1", "2147483647"}, {"0", "-1", "1.5", "", "01"}, {"2147483648"}},
    {"fhir-integer64",
     {"0", "1", "-1", "+1", "9223372036854775807", "-9223372036854775808"},
     {"", "-0", "+0", "01", "+-1", "-+1", "1.0", "1e3", "+", "-"},
     {"9223372036854775808", "-9223372036854775809", "+9223372036854775808"}},
    {"fhir-unsignedInt", {"0", "1", "2147483647"}, {"-1", "1.5", "", "01", "-0"}, {"2147483648"}},
    {"fhir-string",
     {"a", " a ", "a\nb\tc\r", "é€😀", "\u00a0"},
     {"", "\v", "a\fb"},
     {std::string("\x01"), "a\x1f"}},
    {"fhir-oid",
     {"urn:oid:1.2.3", "urn:oid:2.16.840.1.113883.2.1.4.1", "urn:oid:0.0"},
     {"1.2.3", "urn:oid:3.1", "urn:oid:1", "urn:oid:1.", "urn:oid:1.02", "urn:oid:1..2",
      "URN:OID:1.2"},
     {}},
    {"fhir-uuid",
     {"urn:uuid:c757873d-ec9a-4326-a141-556f43239520"},
     {"c757873d-ec9a-4326-a141-556f43239520", "urn:uuid:C757873D-EC9A-4326-A141-556F43239520",
      "urn:uuid:c757873d-ec9a-4326-a141-556f4323952", "urn:uuid:c757873dec9a4326a141556f43239520"},
     {}},
};

bool Matches(const std::string& format, const std::string& text) {
  const Format* found = FindFormat(format);
  EXPECT_NE(found, nullptr) << format;
  return found != nullptr && found->matches(text);
}

TEST(Formats, FhirPrimitivesAgreeWithThePublishedPatterns) {
  std::size_t count = 0;
  for (const Samples& row : kSamples) {
    const std::regex published(kPublished.at(row.format));
    const auto pattern = [&](const std::string& text) { return std::regex_match(text, published); };
    for (const std::string& text : row.right) {
      EXPECT_TRUE(Matches(row.format, text)) << row.format << " '" << text << "'";
      EXPECT_TRUE(pattern(text)) << row.format << " '" << text << "'";
    }
    for (const std::string& text : row.wrong) {
      EXPECT_FALSE(Matches(row.format, text)) << row.format << " '" << text << "'";
      EXPECT_FALSE(pattern(text)) << row.format << " '" << text << "'";
    }
    for (const std::string& text : row.stricter) {
      EXPECT_FALSE(Matches(row.format, text)) << row.format << " '" << text << "'";
      EXPECT_TRUE(pattern(text)) << row.format << " '" << text << "'";
    }
    count += row.right.size() + row.wrong.size() + row.stricter.size();
  }
  EXPECT_GE(count, 105U);
}

TEST(Formats, EveryDayOfFourCenturiesIsJudgedByTheCalendar) {
  // Gregorian rule: a leap year is divisible by 4, but by 100 only if by 400 as well.
  int days = 0;
  for (int year = 1800; year < 2200; ++year) {
    for (int month = 1; month <= 12; ++month) {
      for (int day = 1; day <= 31; ++day) {
        char text[48];
        std::snprintf(text, sizeof text, "%04d-%02d-%02d", year, month, day);
        const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
        const int last = month == 2                                              ? (leap ? 29 : 28)
                         : month == 4 || month == 6 || month == 9 || month == 11 ? 30
                                                                                 : 31;
        ASSERT_EQ(IsFhirDate(text), day <= last) << text;
        days += day <= last ? 1 : 0;
      }
    }
  }
  EXPECT_EQ(days, 146'097);  // days of the Gregorian cycle
}

TEST(Formats, EventFormats) {
  const Samples rows[] = {
      {"moment",
       {"2026-03-27T10:00:00Z", "2026-03-27T10:00:00.250+01:00", "2026-06-30T23:59:60Z"},
       {"", "2026-03-27", "2026-03-27T10:00:00", "2026-02-30T10:00:00Z", "2026-03-27T10:00:00z"},
       {}},
      {"date-or-month",
       {"2028-02", "2028-02-29"},
       {"2028", "2028-13", "2027-02-29", "02-2028"},
       {}},
      {"absolute-uri",
       {"https://fhir.nhs.uk/Id/nhs-number", "urn:oid:1.2", "tag:x"},
       {"", "nhs", ":x", "https:", "1a:b", "http://a b", "http://a<b", "http://\u00e9"},
       {}},
      {"visible-ascii", {"E-1", "!~"}, {"", "a b", "\u00e9", "a\x7f", "\t"}, {}},
      {"one-line", {"7 B", "Östra 4"}, {"", " a", "a ", "a\nb", "\x7f"}, {}},
      {"scanned",
       {"01095\x1d"
        "21",
        "[)>\x1e"
        "06\x1d"
        "9N\x1e\x04"},
       {"", "a\n", "\u00e9"},
       {}},
      {"plain-decimal",
       {"0", "2.50", "-1", "123456789012345678"},
       {"1e2", "1234567890123456789", "01", "."},
       {}},
  };
  for (const Samples& row : rows) {
    for (const std::string& text : row.right) EXPECT_TRUE(Matches(row.format, text)) << text;
    for (const std::string& text : row.wrong) EXPECT_FALSE(Matches(row.format, text)) << text;
  }
}

TEST(Formats, CodesAgreeWithTheirPattern) {
  constexpr std::string_view kPattern = "^[a-z0-9]+([.-][a-z0-9]+)*$";
  const Format* code = FindPattern(kPattern);
  ASSERT_NE(code, nullptr);
  const std::regex published{std::string(kPattern)};
  for (const std::string text : {"dorsum-of-hand", "sodium-chloride-0.9", "a", "9", "", "-a", "a-",
                                 "a--b", "a.-b", "A", "a b", "a_b", "\u00e9", "a."}) {
    EXPECT_EQ(code->matches(text), std::regex_match(text, published)) << text;
  }
}

// hl7.org/fhir/R4/narrative.html: what a narrative may contain.
TEST(Formats, Narratives) {
  const std::string open = "<div xmlns=\"http://www.w3.org/1999/xhtml\">";
  for (const std::string inside :
       {"<p>a</p>", "a", "<p>a<br/>b</p>",
        "<table><tr><td colspan=\"2\">&amp;&#160;&#xA0;</td></tr></table>",
        "<img src=\"#a\" alt=''/>", "<b>x</b >", "<p xml:lang=\"en\">x</p>"}) {
    EXPECT_TRUE(IsNarrativeXhtml(open + inside + "</div>")) << inside;
  }
  for (const std::string inside :
       {"", " \n", "<p>a", "<p>a</b>", "<script>x</script>", "<form>x</form>", "<!-- a -->x",
        "<?php x?>", "<p onclick=\"x\">a</p>", "a & b", "&unknown;", "<p a>x</p>",
        "<p class=x>x</p>", "<p class=\"<\">x</p>", "<P>a</P>", "</div>", "<![CDATA[x]]>", "&#;x",
        "&#xg;x"}) {
    EXPECT_FALSE(IsNarrativeXhtml(open + inside + "</div>")) << inside;
  }
  for (const std::string text :
       {"", "a", "<div>a</div>", "<p xmlns=\"http://www.w3.org/1999/xhtml\">a</p>",
        "<div xmlns=\"http://www.w3.org/2000/svg\">a</div>"}) {
    EXPECT_FALSE(IsNarrativeXhtml(text)) << text;
  }
  EXPECT_FALSE(IsNarrativeXhtml(open + "a</div>b"));
  EXPECT_FALSE(IsNarrativeXhtml(open + std::string(100, '<')));
}

TEST(Decimals, AreComparedExactly) {
  const std::pair<const char*, const char*> equal[] = {
      {"2.50", "2.5"}, {"25e-1", "2.5"}, {"-0", "0"},      {"0.0e5", "0"},
      {"1E+2", "100"}, {"100", "1e2"},   {"0.001", "1e-3"}};
  for (const auto& [a, b] : equal) EXPECT_TRUE(CompareDecimals(a, b) == 0) << a << " " << b;
  const std::pair<const char*, const char*> less[] = {
      {"-1", "0"},
      {"-2", "-1.5"},
      {"2.4999999999999999999999", "2.5"},
      {"9", "10"},
      {"1e-999", "1e-998"},
      {"-1e400", "1e-400"},
      {"9007199254740992", "9007199254740993"},
      {"0.1", "0.10000000000000000001"},
      {"99999999999999999999", "100000000000000000000"},
      {"-1e3", "-999"}};
  for (const auto& [a, b] : less) {
    EXPECT_TRUE(CompareDecimals(a, b) < 0) << a << " " << b;
    EXPECT_TRUE(CompareDecimals(b, a) > 0) << a << " " << b;
  }
}

}  // namespace
}  // namespace dwell::schemas
