// What an endpoint may do to a resource of ours, and what it may not.
#include "daemon/reconcile/comparing.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::reconcile {
namespace {

using testing::ElementsAre;
using testing::IsEmpty;

constexpr const char* kBase = "https://record.example/fhir";
constexpr const char* kSearch =
    "Patient?identifier=https%3A%2F%2Ffhir.nhs.uk%2FId%2Fnhs-number"
    "%7C9990000018";

Compared CompareTexts(const std::string& sent, const std::string& held, const Known& known = {}) {
  const auto left = schemas::Document::Parse(sent);
  const auto right = schemas::Document::Parse(held);
  if (!left || !right) {
    ADD_FAILURE() << "no JSON: " << sent << " or " << held;
    return {};
  }
  return Compare(left->root(), right->root(), known, kBase);
}

struct Case {
  const char* what;
  const char* sent;
  const char* held;
  std::vector<std::string> pointers;  ///< where they differ
};

void PrintTo(const Case& row, std::ostream* out) { *out << row.what; }

class Comparing : public testing::TestWithParam<Case> {};

TEST_P(Comparing, TellsEachPlaceThatDiffersAndNoOther) {
  const Case& row = GetParam();
  const Compared compared = CompareTexts(row.sent, row.held);
  std::vector<std::string> pointers;
  for (const Difference& one : compared.differences) pointers.push_back(one.pointer);
  EXPECT_EQ(pointers, row.pointers);
  EXPECT_FALSE(compared.wrong_patient);
  EXPECT_THAT(compared.asks, IsEmpty());
}

// Pages are of FHIR R4: resource.html, narrative.html, extensibility.html, datatypes.html.
INSTANTIATE_TEST_SUITE_P(
    Allowed, Comparing,
    testing::Values(
        Case{"the same", R"({"a":[1,{"b":true}]})", R"({"a":[1,{"b":true}]})", {}},
        Case{"members in another order", R"({"a":1,"b":2})", R"({"b":2,"a":1})", {}},
        Case{"meta added",
             R"({"a":1})",
             R"({"a":1,"meta":{"versionId":"3","lastUpdated":"2026-03-27T09:00:00Z"}})",
             {}},
        Case{"source replaced",
             R"({"meta":{"source":"urn:a"}})",
             R"({"meta":{"source":"urn:b#7","versionId":"1"}})",
             {}},
        Case{"source dropped", R"({"meta":{"source":"urn:a"}})", R"({})", {}},
        Case{"a tag, a label and a profile more",
             R"({"meta":{"security":[{"code":"R"}],"profile":["p"]}})",
             R"({"meta":{"security":[{"code":"V"},{"code":"R"}],"profile":["q","p"],"tag":[{}]}})",
             {}},
        Case{"a narrative of its own",
             R"({"text":{"status":"generated","div":"<div>a</div>"}})",
             R"({"text":{"status":"generated","div":"<div>b</div>"}})",
             {}},
        Case{"no narrative", R"({"a":1,"text":{"status":"generated"}})", R"({"a":1})", {}},
        Case{"extensions added at any depth",
             R"({"status":"final","code":{"text":"x"}})",
             R"({"status":"final","_status":{"extension":[{"url":"u"}]},"extension":[{"url":"v"}],)"
             R"("code":{"id":"c1","text":"x","extension":[{"url":"w","valueCode":"y"}]}})",
             {}},
        Case{"extensions in another order",
             R"({"extension":[{"url":"u"},{"url":"v"}]})",
             R"({"extension":[{"url":"v"},{"url":"w"},{"url":"u"}]})",
             {}},
        Case{"an identifier more",
             R"({"identifier":[{"system":"s","value":"1"}]})",
             R"({"identifier":[{"system":"own","value":"77"},{"system":"s","value":"1"}]})",
             {}},
        Case{"codings in another order",
             R"({"code":{"coding":[{"code":"1"},{"code":"2"}]}})",
             R"({"code":{"coding":[{"code":"2"},{"code":"1"}]}})",
             {}},
        Case{"a number written otherwise", R"({"value":2.50})", R"({"value":2.5})", {}},
        Case{"an instant with another offset",
             R"({"when":"2026-03-27T10:00:00+01:00"})",
             R"({"when":"2026-03-27T09:00:00.000Z"})",
             {}},
        Case{"a reference made absolute",
             R"({"focus":{"reference":"Device/d1"}})",
             R"({"focus":{"reference":"https://record.example/fhir/Device/d1"}})",
             {}},
        Case{"a reference with version, type and words",
             R"({"focus":{"reference":"Device/d1"}})",
             R"({"focus":{"reference":"Device/d1/_history/2","type":"Device","display":"x"}})",
             {}},
        Case{"something of ours that has no type",
             R"({"what":{"identifier":{"system":"s","value":"e"},"display":"ward event"}})",
             R"({"what":{"identifier":{"system":"s","value":"e"},"display":"ward event"}})",
             {}},
        Case{"a person by identifier, with words",
             R"({"actor":{"type":"Practitioner","identifier":{"system":"s","value":"N1"}}})",
             R"({"actor":{"type":"Practitioner","identifier":{"use":"official","system":"s",)"
             R"("value":"N1"},"display":"x"}})",
             {}}));

INSTANTIATE_TEST_SUITE_P(
    Differs, Comparing,
    testing::Values(
        Case{"a text", R"({"status":"final"})", R"({"status":"amended"})", {"/status"}},
        Case{"a number", R"({"value":2.50})", R"({"value":2.51})", {"/value"}},
        Case{"a number that became text", R"({"value":2})", R"({"value":"2"})", {"/value"}},
        Case{"a truth", R"({"a":true})", R"({"a":false})", {"/a"}},
        Case{"a member lost", R"({"a":1,"b":{"c":2}})", R"({"a":1,"b":{}})", {"/b/c"}},
        Case{"a member added", R"({"a":{"b":1}})", R"({"a":{"b":1,"c":2}})", {"/a/c"}},
        Case{"an object added", R"({"a":1})", R"({"a":1,"b":{"c":2,"d":[3]}})", {"/b/c", "/b/d"}},
        Case{"an element lost", R"({"a":[1,2]})", R"({"a":[1]})", {"/a/1"}},
        Case{"an element added", R"({"a":[1]})", R"({"a":[1,2]})", {"/a/1"}},
        Case{"a list in another order", R"({"a":[1,2]})", R"({"a":[2,1]})", {"/a/0", "/a/1"}},
        Case{"our label lost",
             R"({"meta":{"security":[{"code":"R"}]}})",
             R"({"meta":{"security":[]}})",
             {"/meta/security/0"}},
        Case{"its label dropped with its source",
             R"({"meta":{"source":"u","security":[{"code":"R"}]}})",
             R"({})",
             {"/meta"}},
        Case{"our identifier lost",
             R"({"identifier":[{"value":"1"},{"value":"2"}]})",
             R"({"identifier":[{"value":"2"},{"value":"3"}]})",
             {"/identifier/0/value"}},
        Case{"our extension lost",
             R"({"a":{"extension":[{"url":"u"}]}})",
             R"({"a":{}})",
             {"/a/extension"}},
        Case{"a modifierExtension",
             R"({"a":1})",
             R"({"a":1,"modifierExtension":[{"url":"u"}]})",
             {"/modifierExtension"}},
        Case{"a coding more",
             R"({"code":{"coding":[{"code":"1"}]}})",
             R"({"code":{"coding":[{"code":"1"},{"code":"2"}]}})",
             {"/code/coding/1/code"}},
        Case{"a date is no instant", R"({"on":"2026-03-27"})", R"({"on":"2026-03-26"})", {"/on"}},
        Case{"another instant",
             R"({"when":"2026-03-27T10:00:00+01:00"})",
             R"({"when":"2026-03-27T10:00:00Z"})",
             {"/when"}},
        Case{"another device",
             R"({"focus":{"reference":"Device/d1"}})",
             R"({"focus":{"reference":"Device/d2"}})",
             {"/focus"}},
        Case{"a reference to elsewhere",
             R"({"focus":{"reference":"Device/d1"}})",
             R"({"focus":{"reference":"https://other.example/fhir/Device/d1"}})",
             {"/focus"}},
        Case{"a reference lost", R"({"focus":{"reference":"Device/d1"}})", R"({})", {"/focus"}},
        Case{"another nurse",
             R"({"actor":{"type":"Practitioner","identifier":{"system":"s","value":"N1"}}})",
             R"({"actor":{"type":"Practitioner","identifier":{"system":"s","value":"N2"}}})",
             {"/actor"}},
        Case{"a nurse no longer named",
             R"({"actor":{"type":"Practitioner","identifier":{"system":"s","value":"N1"}}})",
             R"({"actor":{"type":"Practitioner"}})",
             {"/actor"}}));

// --- Patients: nothing is worse than a record at somebody else -----------------------------------

std::string BySearch(const std::string& reference) {
  return R"({"subject":{)" + (reference.empty() ? "" : "\"reference\":\"" + reference + "\",") +
         R"("type":"Patient","identifier":{"system":"https://fhir.nhs.uk/Id/nhs-number",)"
         R"("value":"9990000018"}}})";
}
std::string Literal(const std::string& reference) {
  return R"({"subject":{"reference":")" + reference + R"("}})";
}

TEST(ComparingPatients, WhomAReferenceNamesIsAskedWhenTheEndpointResolvedIt) {
  for (const std::string& sent : {BySearch(kSearch), BySearch("")}) {
    const Compared compared = CompareTexts(sent, Literal("Patient/17"));
    EXPECT_THAT(compared.asks, ElementsAre(kSearch)) << sent;
    EXPECT_THAT(compared.differences, IsEmpty()) << sent;
  }
}

TEST(ComparingPatients, TheRightOneIsNoDifferenceHoweverItIsWritten) {
  const Known known = {{kSearch, "Patient/17"}};
  for (const char* const held :
       {"Patient/17", "https://record.example/fhir/Patient/17", "Patient/17/_history/4"}) {
    for (const std::string& sent : {BySearch(kSearch), BySearch("")}) {
      const Compared compared = CompareTexts(sent, Literal(held), known);
      EXPECT_THAT(compared.differences, IsEmpty()) << sent << held;
      EXPECT_THAT(CompareTexts(sent, BySearch(held), known).differences, IsEmpty()) << held;
    }
  }
}

TEST(ComparingPatients, AnotherOneIsTheWorstThatCanBeFound) {
  const Known known = {{kSearch, "Patient/17"}};
  const Compared by_id = CompareTexts(BySearch(kSearch), BySearch("Patient/18"), known);
  EXPECT_TRUE(by_id.wrong_patient);
  ASSERT_EQ(by_id.differences.size(), 1U);
  EXPECT_EQ(by_id.differences[0].pointer, "/subject");
  const Compared elsewhere =
      CompareTexts(BySearch(kSearch), Literal("https://other.example/fhir/Patient/17"), known);
  EXPECT_TRUE(elsewhere.wrong_patient);
  std::string other = BySearch("");
  other.replace(other.find("0018"), 4, "0026");
  EXPECT_TRUE(CompareTexts(BySearch(""), other).wrong_patient);
  EXPECT_TRUE(CompareTexts(BySearch(kSearch), other, known).wrong_patient);
}

TEST(ComparingPatients, OneWhomTheEndpointDoesNotFindIsADifferenceAndNotCalledAnother) {
  const Compared compared =
      CompareTexts(BySearch(kSearch), BySearch("Patient/17"), {{kSearch, ""}});
  EXPECT_FALSE(compared.wrong_patient);
  EXPECT_EQ(compared.differences.size(), 1U);
}

TEST(ComparingPatients, ASearchThatWasStoredAsItWasOrLostIsADifference) {
  for (const std::string& held : {BySearch(kSearch), BySearch("")}) {
    const Compared compared = CompareTexts(BySearch(kSearch), held);
    EXPECT_FALSE(compared.wrong_patient);
    EXPECT_EQ(compared.differences.size(), 1U) << held;
  }
}

TEST(ComparingPatients, AnEncounterOfSomebodyElseIsNotTakenForAPatient) {
  const std::string sent = R"({"encounter":{"reference":"Encounter?identifier=v%7C1","type":)"
                           R"("Encounter","identifier":{"system":"v","value":"1"}}})";
  const std::string held = R"({"encounter":{"reference":"Encounter/9"}})";
  const Compared compared =
      CompareTexts(sent, held, {{"Encounter?identifier=v%7C1", "Encounter/8"}});
  EXPECT_FALSE(compared.wrong_patient);
  EXPECT_EQ(compared.differences.size(), 1U);
}

}  // namespace
}  // namespace dwell::reconcile
