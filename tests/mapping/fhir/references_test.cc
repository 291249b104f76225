// How patients and encounters are referred to, what meta says, and that both are part of what
// decides whether a resource goes out again.
#include "mapping/fhir/references.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "mapping/fhir/meta.h"
#include "tests/mapping/fhir/world.h"

namespace dwell::fhir {
namespace {

// Escapes: FHIR R4 search.html#escaping. Encoding: RFC 3986 sections 2.1 and 2.3.
TEST(ConditionalReference, ReadsAsOneIdentifierWhateverIsInIt) {
  EXPECT_EQ(ConditionalReference("Patient", "https://fhir.nhs.uk/Id/nhs-number", "9990000018"),
            "Patient?identifier=https%3A%2F%2Ffhir.nhs.uk%2FId%2Fnhs-number%7C9990000018");
  EXPECT_EQ(ConditionalReference("Encounter", "urn:oid:1.2", "V 7/3&x=1#"),
            "Encounter?identifier=urn%3Aoid%3A1.2%7CV%207%2F3%26x%3D1%23");
  EXPECT_EQ(ConditionalReference("Patient", "u:s", "a,b|c$d\\e"),
            "Patient?identifier=u%3As%7Ca%5C%2Cb%5C%7Cc%5C%24d%5C%5Ce")
      << "a comma would be an or: two patients";
  EXPECT_EQ(ConditionalReference("Patient", "u:s", "\xC3\xA9\"+"),
            "Patient?identifier=u%3As%7C%C3%A9%22%2B");
}

TEST(SecurityLabel, IsReadFromTwoOrThreeParts) {
  const auto label = ReadSecurityLabel("http://a.example/s|R|very restricted");
  ASSERT_TRUE(label.has_value());
  EXPECT_EQ(label->system, "http://a.example/s");
  EXPECT_EQ(label->code, "R");
  EXPECT_EQ(label->display, "very restricted");
  ASSERT_TRUE(ReadSecurityLabel("urn:x|R").has_value());
  EXPECT_EQ(ReadSecurityLabel("urn:x|R")->display, "");
  for (const char* wrong :
       {"", "R", "|R", "urn:x|", "noscheme|R", "urn:x|R|d|more", "urn:x|a b", "urn: x|R"}) {
    EXPECT_FALSE(ReadSecurityLabel(wrong).has_value()) << wrong;
  }
}

TEST(SecurityLabel, TheTestLabelStandsFirst) {
  EXPECT_EQ(SecurityJson(false, {}), "");
  EXPECT_EQ(SecurityJson(true, {{"urn:x", "R", ""}}),
            R"([{"system":"http://terminology.hl7.org/CodeSystem/v3-ActReason","code":"HTEST",)"
            R"("display":"test health data"},{"system":"urn:x","code":"R"}])");
}

TEST(Context, EveryChangeOfHowThingsAreWrittenSendsThemAgain) {
  const auto sent = [](const Context& context) {
    test::Life life(context);
    return life.Receive(test::Told("insertion", "E-1", "2026-03-27T09:00:00Z",
                                   R"("outcome":"placed","line":{"kind":"peripheral-cannula",)"
                                   R"("gauge":20},"site":{"place":"wrist","side":"left"})"));
  };
  const Made plain = sent(test::ContextOf());
  const auto schemas = schemas::Bundled::Load();
  const auto additions =
      Additions::Read(R"({"Task":{"language":"en"}})", *schemas, FhirRelease::kR4);
  ASSERT_TRUE(additions.has_value());
  std::vector<Context> others(5, test::ContextOf());
  others[0].patients = ReferenceForm::kConditional;
  others[1].encounters = ReferenceForm::kConditional;
  others[2].profiles = true;
  others[3].security.push_back({"urn:x", "R", ""});
  others[4].additions = &*additions;
  for (const Context& context : others) {
    const Made made = sent(context);
    ASSERT_EQ(made.issued.size(), plain.issued.size());
    for (std::size_t i = 0; i < made.issued.size(); ++i) {
      EXPECT_NE(made.issued[i].fingerprint, plain.issued[i].fingerprint);
      EXPECT_EQ(made.issued[i].id, plain.issued[i].id);
    }
  }
}

TEST(Context, EveryTypeOfEveryReleaseNamesItsProfile) {
  for (const FhirRelease release : {FhirRelease::kR4, FhirRelease::kR4B, FhirRelease::kR5}) {
    Context context = test::ContextOf();
    context.release = release;
    context.profiles = true;
    test::Life life(context);
    const Made made = life.Receive(
        test::Told("insertion", "E-1", "2026-03-27T09:00:00Z",
                   R"("outcome":"placed","line":{"kind":"peripheral-cannula","gauge":20},)"
                   R"("site":{"place":"wrist","side":"left"},"preparation":{"consent":"yes"})"));
    ASSERT_GT(made.resources.size(), 5U);
    for (const Resource& resource : made.resources) {
      const auto document = schemas::Document::Parse(resource.json);
      const auto profile = document->At("/meta/profile/0");
      ASSERT_TRUE(profile.has_value()) << resource.type;
      EXPECT_EQ(profile->AsString(), ProfileOf(resource.type));
      EXPECT_THAT(std::string(profile->AsString()),
                  testing::MatchesRegex(
                      "https://dwelld.example/fhir/StructureDefinition/line-[a-z]+\\|1\\.0\\.0"));
    }
  }
}

}  // namespace
}  // namespace dwell::fhir
