// What a site adds: RFC 7396, and what it may not touch.
#include "mapping/fhir/additions.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "schemas/bundled.h"
#include "tests/mapping/fhir/world.h"

namespace dwell::fhir {
namespace {

// RFC 7396, appendix A: all fifteen test cases.
TEST(MergePatch, GivesWhatThePublishedTestCasesSay) {
  struct Row {
    const char* original;
    const char* patch;
    const char* result;
  };
  const Row table[] = {
      {R"({"a":"b"})", R"({"a":"c"})", R"({"a":"c"})"},
      {R"({"a":"b"})", R"({"b":"c"})", R"({"a":"b","b":"c"})"},
      {R"({"a":"b"})", R"({"a":null})", R"({})"},
      {R"({"a":"b","b":"c"})", R"({"a":null})", R"({"b":"c"})"},
      {R"({"a":["b"]})", R"({"a":"c"})", R"({"a":"c"})"},
      {R"({"a":"c"})", R"({"a":["b"]})", R"({"a":["b"]})"},
      {R"({"a":{"b":"c"}})", R"({"a":{"b":"d","c":null}})", R"({"a":{"b":"d"}})"},
      {R"({"a":[{"b":"c"}]})", R"({"a":[1]})", R"({"a":[1]})"},
      {R"(["a","b"])", R"(["c","d"])", R"(["c","d"])"},
      {R"({"a":"b"})", R"(["c"])", R"(["c"])"},
      {R"({"a":"foo"})", R"(null)", R"(null)"},
      {R"({"a":"foo"})", R"("bar")", R"("bar")"},
      {R"({"e":null})", R"({"a":1})", R"({"e":null,"a":1})"},
      {R"([1,2])", R"({"a":"b","c":null})", R"({"a":"b"})"},
      {R"({})", R"({"a":{"bb":{"ccc":null}}})", R"({"a":{"bb":{}}})"},
  };
  for (const Row& row : table) {
    EXPECT_EQ(MergePatch(row.original, row.patch), row.result) << row.original << row.patch;
  }
}

// RFC 7396, section 3: the worked example.
TEST(MergePatch, GivesWhatTheWorkedExampleSays) {
  EXPECT_EQ(MergePatch(R"({"title":"Goodbye!","author":{"givenName":"John","familyName":"Doe"},)"
                       R"("tags":["example","sample"],"content":"This will be unchanged"})",
                       R"({"title":"Hello!","phoneNumber":"+01-123-456-7890",)"
                       R"("author":{"familyName":null},"tags":["example"]})"),
            R"({"title":"Hello!","author":{"givenName":"John"},"tags":["example"],)"
            R"("content":"This will be unchanged","phoneNumber":"+01-123-456-7890"})");
}

TEST(MergePatch, KeepsTheTextOfNumbersAndTheOrderOfMembers) {
  EXPECT_EQ(MergePatch(R"({"z":2.50,"a":{"n":120,"m":0.900}})", R"({"a":{"k":10.0},"b":1e2})"),
            R"({"z":2.50,"a":{"n":120,"m":0.900,"k":10.0},"b":1e2})");
  EXPECT_EQ(MergePatch(R"({"t":"é\"\\\n"})", R"({})"), R"({"t":"é\"\\\n"})");
}

TEST(MergePatch, IsEmptyForWhatIsNoJson) {
  EXPECT_FALSE(MergePatch("{", "{}"));
  EXPECT_FALSE(MergePatch("{}", R"({"a":1,"a":2})"));
}

const schemas::Bundled& Schemas(FhirRelease release) {
  static const auto r4 = schemas::Bundled::Load(FhirRelease::kR4);
  static const auto r5 = schemas::Bundled::Load(FhirRelease::kR5);
  return release == FhirRelease::kR5 ? *r5 : *r4;
}

/// Pointers and rules of what is wrong, one a line; empty when all is well.
std::string FaultsOf(std::string_view text, FhirRelease release = FhirRelease::kR4) {
  const auto read = Additions::Read(text, Schemas(release), release);
  std::string all;
  if (read.has_value()) return all;
  for (const auto& fault : read.error()) {
    EXPECT_NE(fault.expected, "");
    all.append(fault.pointer).append(" ").append(fault.rule).append("\n");
  }
  return all;
}

TEST(Additions, MayAddWhatSaysNothingAboutThePatient) {
  for (const char* text :
       {"{}", R"({"Observation":{}})",
        R"({"Observation":{"extension":[{"url":"https://a.example/x","valueBoolean":true}]}})",
        R"({"Procedure":{"meta":{"tag":[{"system":"https://a.example/t","code":"x"}]}}})",
        R"({"Device":{"owner":{"reference":"Organization/trust"}}})",
        R"({"Task":{"owner":{"reference":"Organization/team"}}})",
        R"({"DeviceUseStatement":{"meta":{"profile":["https://a.example/profile"]}}})",
        R"({"Provenance":{"policy":["https://a.example/policy"]}})"}) {
    EXPECT_EQ(FaultsOf(text), "") << text;
  }
}

// Each of these would put a resource in another's record, say something else than staff did, or
// hide that it is a test: hazards "wrong patient" and "false reassurance".
TEST(Additions, MayNotTouchWhatSaysWhoWhatWhenAndWhether) {
  struct Row {
    const char* type;
    const char* member;
  };
  const Row table[] = {
      {"Observation", "resourceType"},
      {"Observation", "id"},
      {"Observation", "identifier"},
      {"Observation", "status"},
      {"Observation", "_status"},
      {"Observation", "code"},
      {"Observation", "subject"},
      {"Observation", "encounter"},
      {"Observation", "focus"},
      {"Observation", "valueInteger"},
      {"Observation", "component"},
      {"Observation", "interpretation"},
      {"Observation", "derivedFrom"},
      {"Observation", "effectiveDateTime"},
      {"Observation", "text"},
      {"Observation", "modifierExtension"},
      {"Observation", "bodySite"},
      {"Observation", "referenceRange"},
      {"Procedure", "statusReason"},
      {"Procedure", "performedPeriod"},
      {"Procedure", "outcome"},
      {"Procedure", "reasonCode"},
      {"Procedure", "usedCode"},
      {"Procedure", "performer"},
      {"Device", "patient"},
      {"Device", "type"},
      {"Device", "udiCarrier"},
      {"Device", "lotNumber"},
      {"Device", "expirationDate"},
      {"DeviceUseStatement", "device"},
      {"DeviceUseStatement", "timingPeriod"},
      {"DeviceUseStatement", "extension"},
      {"Task", "for"},
      {"Task", "restriction"},
      {"Task", "businessStatus"},
      {"Task", "priority"},
      {"Task", "intent"},
      {"Task", "output"},
      {"Provenance", "target"},
      {"Provenance", "entity"},
      {"Provenance", "agent"},
      {"Provenance", "recorded"},
  };
  for (const Row& row : table) {
    for (const char* value : {"null", "\"x\"", "{}", "[]"}) {
      const std::string pointer = std::string("/") + row.type + "/" + row.member;
      const std::string text =
          std::string("{\"") + row.type + "\":{\"" + row.member + "\":" + value + "}}";
      EXPECT_EQ(FaultsOf(text), pointer + " protected\n") << text;
    }
  }
  EXPECT_EQ(FaultsOf(R"({"Task":{"meta":{"security":[],"source":"x","versionId":"1"}}})"),
            "/Task/meta/security protected\n/Task/meta/source protected\n"
            "/Task/meta/versionId protected\n");
  EXPECT_EQ(FaultsOf(R"({"Task":{"meta":null}})"), "/Task/meta protected\n");
}

// A profile may require what a site could take away: category, the test label of meta.
TEST(Additions, MayNotTakeAnythingAway) {
  EXPECT_EQ(FaultsOf(R"({"Observation":{"category":null,"extension":null}})"),
            "/Observation/category protected\n/Observation/extension protected\n");
  EXPECT_EQ(FaultsOf(R"({"Task":{"meta":{"profile":null}}})"), "/Task/meta/profile protected\n");
  EXPECT_EQ(FaultsOf(R"({"Observation":{"category":[]}})"), "/Observation/category minItems\n");
}

/// Everything that we write is protected, but for what this list says may be replaced.
TEST(Additions, EveryMemberThatWeWriteIsProtectedOrListedHere) {
  std::set<std::string> open;
  for (const FhirRelease release : {FhirRelease::kR4, FhirRelease::kR5}) {
    Context context = test::ContextOf();
    context.release = release;
    test::Life life(context);
    std::vector<Resource> all;
    const auto add = [&all](Made made) {
      for (Resource& one : made.resources) all.push_back(std::move(one));
    };
    add(life.Receive(test::Told("insertion", "E-1", "2026-03-27T09:00:00Z",
                                R"("outcome":"placed","note":"n","encounter":)"
                                R"({"system":"https://a.example/v","value":"1"},)"
                                R"("line":{"kind":"peripheral-cannula","gauge":20,"lot":"A",)"
                                R"("expiry":"2027-01"},"site":{"place":"wrist","side":"left"},)"
                                R"("flush":{"fluid":"sodium-chloride-0.9","mL":5})")));
    add(life.Receive(test::Told("site-check", "E-2", "2026-03-27T15:00:00Z",
                                R"("grade":{"scale":"visual-infusion-phlebitis",)"
                                R"("version":"1998","value":1},"signs":{"pain":"present"})")));
    add(life.Receive(test::Told("removal", "E-3", "2026-03-28T15:00:00Z",
                                R"("reason":"phlebitis","tip_complete":"yes")")));
    ASSERT_GT(all.size(), 12U);
    for (const Resource& one : all) {
      const auto document = schemas::Document::Parse(one.json);
      for (const schemas::Value member : document->root()) {
        if (!WhyProtected(member.name()).empty()) continue;
        open.insert(std::string(member.name()));
      }
    }
  }
  EXPECT_THAT(open, testing::ElementsAre("category", "extension", "meta"));
}

TEST(Additions, WhatIsNoPatchOfATypeThatWeMakeIsAFault) {
  EXPECT_EQ(FaultsOf("{"), " syntax\n");
  EXPECT_EQ(FaultsOf("[]"), " type\n");
  EXPECT_EQ(FaultsOf(R"({"Observation":{},"Observation":{}})"), "/Observation duplicate-member\n");
  EXPECT_EQ(FaultsOf(R"({"Patient":{},"Observation":[1]})"), "/Patient enum\n/Observation type\n");
  EXPECT_EQ(FaultsOf(R"({"DeviceUsage":{}})"), "/DeviceUsage enum\n");
  EXPECT_EQ(FaultsOf(R"({"DeviceUsage":{},"DeviceAssociation":{}})", FhirRelease::kR5), "");
  EXPECT_EQ(FaultsOf(R"({"DeviceUseStatement":{}})", FhirRelease::kR5),
            "/DeviceUseStatement enum\n");
}

TEST(Additions, WhatIsIllegalByItselfIsFoundAtLoad) {
  EXPECT_EQ(FaultsOf(R"({"Observation":{"colour":"red"}})"),
            "/Observation/colour additionalProperties\n");
  EXPECT_EQ(FaultsOf(R"({"Procedure":{"extension":[{"valueString":"no url"}]}})"),
            "/Procedure/extension/0/url required\n");
  EXPECT_EQ(FaultsOf(R"({"Task":{"owner":{"reference":"no reference"}}})"),
            "/Task/owner/reference fhir-uri\n/Task/owner/reference dwell:references\n");
}

TEST(Additions, ApplyToTheirTypeOnlyAndGoIntoEveryFingerprint) {
  const auto one =
      Additions::Read(R"({"Task":{"language":"en"}})", Schemas(FhirRelease::kR4), FhirRelease::kR4);
  const auto same = Additions::Read(R"({ "Task" : { "language" : "en" } })",
                                    Schemas(FhirRelease::kR4), FhirRelease::kR4);
  const auto other =
      Additions::Read(R"({"Task":{"language":"fr"}})", Schemas(FhirRelease::kR4), FhirRelease::kR4);
  ASSERT_TRUE(one && same && other);
  EXPECT_EQ(one->Apply("Task", R"({"resourceType":"Task","id":"a"})"),
            R"({"resourceType":"Task","id":"a","language":"en"})");
  EXPECT_EQ(one->Apply("Device", R"({ "as": "it was" })"), R"({ "as": "it was" })");
  EXPECT_EQ(one->fingerprint(), same->fingerprint()) << "the layout of the file counts for nothing";
  EXPECT_NE(one->fingerprint(), other->fingerprint());
}

}  // namespace
}  // namespace dwell::fhir
