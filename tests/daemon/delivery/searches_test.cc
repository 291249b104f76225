// Searches in a frozen bundle and ids in their places, byte for byte; and what was found before.
#include "daemon/delivery/searches.h"

#include <gmock/gmock.h>

#include "daemon/delivery/found_cache.h"
#include "mapping/fhir/references.h"
#include "schemas/json/writer.h"

namespace dwell::delivery {
namespace {

using std::chrono::hours;
using std::chrono::seconds;
using testing::ElementsAre;

const std::vector<std::string> kBoth = {"Patient", "Encounter"};

std::string Reference(const char* type, const char* system, const char* value,
                      fhir::ReferenceForm form = fhir::ReferenceForm::kConditional) {
  schemas::JsonWriter json;
  fhir::WriteKnownReference(json, type, system, value, form);
  return json.Take();
}

TEST(Searches, EachIsFoundOnceAndReplacedEverywhere) {
  const std::string patient = Reference("Patient", "urn:n", "1");
  const std::string visit = Reference("Encounter", "urn:v", "1");
  const std::string body = R"({"a":)" + patient + R"(,"b":)" + visit + R"(,"c":[)" + patient + "]}";
  const Searches found = FindSearches(body, kBoth);
  EXPECT_THAT(found.texts,
              ElementsAre("Patient?identifier=urn%3An%7C1", "Encounter?identifier=urn%3Av%7C1"));
  EXPECT_EQ(found.places.size(), 3U);
  const std::string known =
      R"({"reference":"Patient/p-1","type":"Patient","identifier":{"system":"urn:n","value":"1"}})";
  EXPECT_EQ(PutLiterals(body, found, {"Patient/p-1", "Encounter/e"}),
            R"({"a":)" + known +
                R"(,"b":{"reference":"Encounter/e","type":"Encounter",)"
                R"("identifier":{"system":"urn:v","value":"1"}},"c":[)" +
                known + "]}");
}

TEST(Searches, OnlyTheTypesAskedForAndOnlyWhatWeWrote) {
  const std::string patient = Reference("Patient", "urn:n", "1");
  const std::string visit = Reference("Encounter", "urn:v", "1");
  const std::string body = "[" + patient + "," + visit + "]";
  EXPECT_THAT(FindSearches(body, {"Encounter"}).texts,
              ElementsAre("Encounter?identifier=urn%3Av%7C1"));
  EXPECT_TRUE(FindSearches(body, {}).texts.empty());
  EXPECT_TRUE(FindSearches(Reference("Patient", "s", "1", fhir::ReferenceForm::kIdentifier), kBoth)
                  .texts.empty());
  for (const char* const other :
       {R"({"reference":"Patient/7"})", R"({"reference":"PatientX?identifier=a%7C1"})",
        R"({"reference":"Patient?name=a"})", R"({"reference":"Patient?identifier="})",
        R"({"reference":"Patient?identifier=a|1 HTTP/1.1"})",
        R"({"reference":"Patient?identifier=a%7C1&active=true"})", R"({"reference":")"}) {
    EXPECT_TRUE(FindSearches(other, kBoth).texts.empty()) << other;
  }
}

TEST(Searches, WhatANurseWritesIsNoReference) {
  schemas::JsonWriter json;
  json.BeginObject();
  json.Member("note", R"("reference":"Patient?identifier=urn%3An%7C1")");
  json.EndObject();
  EXPECT_TRUE(FindSearches(json.Take(), kBoth).texts.empty());
}

TEST(Searches, IdentifiersWithSeparatorsStayOneValue) {
  // R4 search.html#escaping: a backslash before , | $ and \ in a token; then percent-encoding.
  const Searches found = FindSearches(Reference("Patient", "urn:a|b", "1,2$&x=y#"), kBoth);
  EXPECT_THAT(found.texts,
              ElementsAre("Patient?identifier=urn%3Aa%5C%7Cb%7C1%5C%2C2%5C%24%26x%3Dy%23"));
}

class FoundCacheTest : public testing::Test {
 protected:
  static FoundCache::Time At(int s) { return FoundCache::Time(seconds(1000 + s)); }
};

TEST_F(FoundCacheTest, KeepsWhatWasFoundForItsTimeAndNotAMomentLonger) {
  FoundCache cache(seconds(60), 10);
  EXPECT_EQ(cache.Find("a", At(0)), nullptr);
  cache.Put("a", {"Patient/1", ""}, At(0));
  ASSERT_NE(cache.Find("a", At(59)), nullptr);
  EXPECT_EQ(cache.Find("a", At(59))->literal, "Patient/1");
  EXPECT_EQ(cache.Find("a", At(60)), nullptr);
  cache.Put("a", {"Patient/2", ""}, At(61));
  EXPECT_EQ(cache.Find("a", At(61))->literal, "Patient/2");
  EXPECT_EQ(cache.size(), 1U);
  cache.Forget("a");
  cache.Forget("a");
  EXPECT_EQ(cache.Find("a", At(61)), nullptr);
  EXPECT_EQ(cache.size(), 0U);
}

TEST_F(FoundCacheTest, IsBoundedAndDropsTheOldest) {
  FoundCache cache(hours(1), 3);
  for (int i = 0; i < 1000; ++i) {
    cache.Put("s" + std::to_string(i), {"Patient/" + std::to_string(i), ""}, At(i));
    EXPECT_LE(cache.size(), 3U);
  }
  EXPECT_EQ(cache.Find("s996", At(999)), nullptr);
  for (int i = 997; i < 1000; ++i) {
    ASSERT_NE(cache.Find("s" + std::to_string(i), At(999)), nullptr) << i;
  }
  cache.Put("s997", {"Patient/x", ""}, At(999));  // known: takes nobody's place
  EXPECT_NE(cache.Find("s998", At(999)), nullptr);
}

TEST_F(FoundCacheTest, ATimeOfZeroKeepsNothing) {
  FoundCache cache(seconds(0), 10);
  cache.Put("a", {"Patient/1", ""}, At(0));
  EXPECT_EQ(cache.size(), 0U);
}

}  // namespace
}  // namespace dwell::delivery
