// The parts that resources are built from: ids, fingerprints, durations, escapes.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "mapping/fhir/elements.h"
#include "mapping/fhir/ids.h"
#include "mapping/fhir/narrative.h"
#include "tests/mapping/fhir/world.h"

namespace dwell::fhir {
namespace {

// RFC 9562 appendix A.4: version 5 of "www.example.com" in the DNS namespace.
TEST(Uuid5, GivesThePublishedExample) {
  EXPECT_EQ(FormatUuid(Uuid5(kDnsNamespace, "www.example.com")),
            "2ed6657d-e927-568b-95e1-2665a8aea6a2");
}

// Documentation of Python's uuid module: uuid5(NAMESPACE_DNS, 'python.org').
TEST(Uuid5, GivesTheExampleOfAnotherImplementation) {
  EXPECT_EQ(FormatUuid(Uuid5(kDnsNamespace, "python.org")), "886313e1-3b8a-5372-9b90-0c9aee199e5d");
}

TEST(Ids, DifferWithEveryPartAndAreNotConfusedByWhereAPartEnds) {
  std::set<std::string> ids = {
      NameBasedUuid("urn:a", {"ab", "c"}), NameBasedUuid("urn:a", {"a", "bc"}),
      NameBasedUuid("urn:a", {"abc"}),     NameBasedUuid("urn:a", {"ab", "c", ""}),
      NameBasedUuid("urn:b", {"ab", "c"}), NameBasedUuid("urn:a", {"2:ab1:c"})};
  EXPECT_EQ(ids.size(), 6U);
  EXPECT_EQ(NameBasedUuid("urn:a", {"ab", "c"}), NameBasedUuid("urn:a", {"ab", "c"}));
}

TEST(Ids, StartWithALetterAndHoldOnlyWhatAFhirIdMay) {
  // R4: id is [A-Za-z0-9\-\.]{1,64}. Some servers keep purely numeric ids for themselves.
  EXPECT_THAT(ResourceId("urn:a", {"x"}), testing::MatchesRegex("dwell-[0-9a-f-]{36}"));
}

TEST(Fingerprints, KeepPartsApart) {
  EXPECT_NE(Fingerprint().Add("ab").Add("c").value(), Fingerprint().Add("a").Add("bc").value());
  EXPECT_NE(Fingerprint().Add("").value(), Fingerprint().value());
  EXPECT_NE(Fingerprint().Add("12345678").value(), Fingerprint().Add("123456789").value());
}

struct HoursCase {
  std::int64_t ms;
  const char* text;
};

TEST(Hours, AreExactToTwoDecimalsWithoutFloatingPoint) {
  constexpr std::int64_t kHour = 3'600'000;
  const HoursCase kCases[] = {{0, "0"},
                              {72 * kHour, "72"},
                              {72 * kHour + kHour / 2, "72.5"},
                              {kHour / 10, "0.1"},
                              {kHour / 100, "0.01"},
                              {kHour / 100 / 2, "0.01"},
                              {kHour / 100 / 2 - 1, "0"},
                              {10 * kHour - 1, "10"},
                              {-kHour / 4, "-0.25"},
                              {1'000'000 * kHour, "1000000"}};
  for (const auto& [ms, text] : kCases)
    EXPECT_EQ(FormatHours(std::chrono::milliseconds(ms)), text) << ms;
}

TEST(Uris, SegmentsAreEncodedAsRfc3986Says) {
  EXPECT_EQ(EncodeSegment("ward-7b_1.x~"), "ward-7b_1.x~");
  EXPECT_EQ(EncodeSegment("a b/c|d%\xC3\xA9"), "a%20b%2Fc%7Cd%25%C3%A9");
}

TEST(Narratives, EscapeWhatXhtmlTakesForMarkupAndDropWhatXmlCannotHold) {
  EXPECT_EQ(Escape("<b>&\"x\"</b>"), "&lt;b&gt;&amp;&quot;x&quot;&lt;/b&gt;");
  EXPECT_EQ(Escape(std::string("a\x01"
                               "b\x1F\n\tc")),
            "ab\n\tc");
  EXPECT_EQ(Escape("x\xEF\xBF\xBFy\xEF\xBF\xBEz\xEF\xBF\xBD"), "xyz\xEF\xBF\xBD");
}

TEST(Narratives, TimesAreReadableAndKeepTheOffset) {
  EXPECT_EQ(ReadableTime("2026-03-27T10:00:00+01:00"), "2026-03-27 10:00 (+01:00)");
  EXPECT_EQ(ReadableTime("2026-03-27T10:00:30.250-05:30"), "2026-03-27 10:00:30.250 (-05:30)");
  EXPECT_EQ(ReadableTime("2026-03-27T10:00:00Z"), "2026-03-27 10:00 (UTC)");
}

TEST(Narratives, DerivedTimesAreShownOnTheWardsClock) {
  const auto& zone = test::World::Get().zone;  // London went to summer time on 29 March 2026
  EXPECT_EQ(ReadableTime(test::At("2026-03-28T12:00:00Z"), &zone), "2026-03-28 12:00 (+00:00)");
  EXPECT_EQ(ReadableTime(test::At("2026-03-30T12:00:00Z"), &zone), "2026-03-30 13:00 (+01:00)");
}

TEST(Quantities, KeepTheTextOfTheNumber) {
  JsonWriter json;
  WriteQuantity(json, "2.50", {"mL", "mL"});
  EXPECT_EQ(json.Take(),
            R"({"value":2.50,"unit":"mL","system":"http://unitsofmeasure.org","code":"mL"})");
}

TEST(Quantities, ANumberWhoseUnitUcumDoesNotKnowHasNoSystem) {
  JsonWriter json;
  WriteQuantity(json, "20", {"G", ""});
  EXPECT_EQ(json.Take(), R"({"value":20,"unit":"G"})");
}

}  // namespace
}  // namespace dwell::fhir
