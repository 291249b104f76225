// Finding concepts: targets in order, sides and kinds of line, unknown codes, broken files.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>

#include "mapping/codes/codes.h"

namespace dwell::codes {
namespace {

using Edition = CodeMap::Edition;

CodeMap Load(Edition edition) {
  auto map = CodeMap::LoadBundled(edition);
  EXPECT_TRUE(map.has_value()) << map.error().message();
  return std::move(*map);
}

std::vector<std::string> Codes(const Concept& what) {
  std::vector<std::string> codes;
  for (const Coding& coding : what.codings) codes.push_back(coding.code);
  return codes;
}

TEST(CodeMap, AKnownCodeHasItsTargetsFirstAndOurOwnCodeLast) {
  const CodeMap map = Load(Edition::kFree);
  const Found found = map.Find("line-kind", "picc");
  EXPECT_TRUE(found->mapped);
  EXPECT_EQ(found->text, "peripherally inserted central catheter");
  EXPECT_THAT(Codes(*found), testing::ElementsAre("52124006", "IVLINE", "picc"));
  EXPECT_EQ(found->codings.back().system, kOurSystem);
}

TEST(CodeMap, OurOwnCodeIsLeftOutWhereTheBestTargetSaysTheSame) {
  const CodeMap map = Load(Edition::kFree);
  EXPECT_THAT(Codes(*map.Find("line-kind", "peripheral-cannula")),
              testing::ElementsAre("82449006", "IVLINE"));
  EXPECT_EQ(map.Find("finding", "absent")->coding_json,
            R"([{"system":"http://snomed.info/sct","code":"2667000","display":"Absent"}])");
  EXPECT_THAT(Codes(*map.Find("sign", "palpable-cord")), testing::ElementsAre("palpable-cord"));
}

TEST(CodeMap, TheSidePicksTheLateralisedTargetAndTheWords) {
  const CodeMap map = Load(Edition::kLicensed);
  EXPECT_THAT(Codes(*map.Find("site", "forearm", "left")), testing::ElementsAre("66480008"));
  EXPECT_THAT(Codes(*map.Find("site", "forearm")), testing::ElementsAre("14975008"));
  EXPECT_EQ(map.Find("site", "forearm", "left")->text, "left forearm");
  EXPECT_EQ(map.Find("site", "forearm")->text, "forearm");
}

TEST(CodeMap, TheFreeMapHasNoSideInSnomedAndSaysItInWordsAndInHl7Codes) {
  const CodeMap map = Load(Edition::kFree);
  const Found found = map.Find("site", "antecubital-fossa", "right");
  EXPECT_EQ(found->text, "right antecubital fossa");
  EXPECT_THAT(Codes(*found), testing::ElementsAre("RACF", "17957002"));
}

TEST(CodeMap, TheKindOfLinePicksTheFinerProcedure) {
  const CodeMap free = Load(Edition::kFree);
  const CodeMap licensed = Load(Edition::kLicensed);
  EXPECT_EQ(free.Find("procedure", "line-insertion", "peripheral-cannula")->codings[0].code,
            "429446009");
  EXPECT_EQ(licensed.Find("procedure", "line-insertion", "peripheral-cannula")->codings[0].code,
            "233520008");
  EXPECT_EQ(free.Find("procedure", "line-insertion", "picc")->codings[0].code, "425196008");
  EXPECT_EQ(free.Find("procedure", "line-insertion", "never-heard-of")->codings[0].code,
            "429446009");
}

TEST(CodeMap, TheLicensedMapTakesThePlaceOfTheFreeTargetOfTheSameSystemOnly) {
  const CodeMap map = Load(Edition::kLicensed);
  EXPECT_THAT(Codes(*map.Find("line-kind", "picc")), testing::ElementsAre("398176008", "IVLINE"));
  EXPECT_THAT(Codes(*map.Find("sign", "pain")), testing::ElementsAre("95388000"));
}

TEST(CodeMap, ThePhlebitisScoreHasItsSnomedCodeOnlyUnderLicence) {
  EXPECT_FALSE(Load(Edition::kFree).Find("scale", "visual-infusion-phlebitis")->mapped);
  EXPECT_EQ(Load(Edition::kLicensed).Find("scale", "visual-infusion-phlebitis")->codings[0].code,
            "445520006");
  // Other grades, other scale: it must not borrow the code.
  EXPECT_FALSE(Load(Edition::kLicensed).Find("scale", "ins-phlebitis")->mapped);
}

TEST(CodeMap, AnAntisepticOfTwoAgentsGivesTheSecondBesideIt) {
  const CodeMap map = Load(Edition::kLicensed);
  const Found found = map.Find("antiseptic", "chlorhexidine-2-alcohol-70");
  EXPECT_EQ(found->codings[0].code, "373568007");
  ASSERT_EQ(found->also_json.size(), 1U);
  EXPECT_THAT(found->also_json[0], testing::HasSubstr("259268001"));
}

TEST(CodeMap, AnUnknownCodeIsNeverDropped) {
  const CodeMap map = Load(Edition::kFree);
  const Found found = map.Find("reason", "left-over");
  EXPECT_FALSE(found->mapped);
  EXPECT_EQ(found->text, "left over");
  EXPECT_EQ(
      found->coding_json,
      R"([{"system":"https://dwelld.example/fhir/CodeSystem/line-care","code":"left-over"}])");
  EXPECT_EQ(map.Find("site", "big-toe", "left")->text, "left big toe");
}

TEST(CodeMap, ACodeOfAnotherGroupKeepsItsDisplayButBorrowsNoTarget) {
  const CodeMap map = Load(Edition::kFree);
  const Found found = map.Find("action", "phlebitis");
  EXPECT_FALSE(found->mapped);
  EXPECT_EQ(found->codings[0].display, "phlebitis");
}

TEST(CodeMap, TheFingerprintTellsTheEditionsApart) {
  EXPECT_EQ(Load(Edition::kFree).fingerprint(), Load(Edition::kFree).fingerprint());
  EXPECT_NE(Load(Edition::kFree).fingerprint(), Load(Edition::kLicensed).fingerprint());
}

using Pair = std::pair<std::string_view, std::string_view>;
constexpr std::string_view kSystem =
    R"({"resourceType":"CodeSystem","url":"https://dwelld.example/fhir/CodeSystem/line-care",
        "concept":[{"code":"a","display":"an a","property":[{"code":"group","valueCode":"g"}]}]})";

std::string MapWith(const std::string& element) {
  return R"({"resourceType":"ConceptMap","group":[{"source":"https://dwelld.example/fhir/CodeSystem/line-care",
             "target":"urn:t","element":[)" +
         element + "]}]}";
}

struct Broken {
  const char* what;
  std::string map;
  const char* said;
};

TEST(CodeMapFiles, AWrongMapIsRefusedWithFileAndPlace) {
  const Broken kCases[] = {
      {"no JSON", "{", "site.json"},
      {"other resource", R"({"resourceType":"ValueSet"})", "/resourceType"},
      {"unknown source", MapWith(R"({"code":"b","target":[{"code":"1","equivalence":"equal"}]})"),
       "\"b\""},
      {"no code", MapWith(R"({"code":"a","target":[{"equivalence":"equal"}]})"),
       "/group/0/element/0"},
      {"twice",
       MapWith(
           R"({"code":"a","target":[{"code":"1","equivalence":"equal"},{"code":"2","equivalence":"equal"}]})"),
       "one target"},
      {"odd condition",
       MapWith(
           R"({"code":"a","target":[{"code":"1","equivalence":"equal","dependsOn":[{"property":"urn:x","value":"y"}]}]})"),
       "/group/0/element/0"},
  };
  for (const Broken& broken : kCases) {
    const std::array<Pair, 1> maps = {Pair{"site.json", broken.map}};
    const auto map = CodeMap::Load({"own.json", kSystem}, maps);
    ASSERT_FALSE(map.has_value()) << broken.what;
    EXPECT_EQ(map.error().kind(), ErrorKind::kConfig);
    EXPECT_THAT(map.error().message(),
                testing::AllOf(testing::HasSubstr("site.json"), testing::HasSubstr(broken.said)))
        << broken.what;
  }
}

TEST(CodeMapFiles, ALaterMapIsLaidOverTheEarlierOnes) {
  const std::string first =
      MapWith(R"({"code":"a","target":[{"code":"1","equivalence":"wider"}]})");
  const std::string second =
      MapWith(R"({"code":"a","target":[{"code":"2","equivalence":"equal"}]})");
  const std::array<Pair, 2> maps = {Pair{"1.json", first}, Pair{"2.json", second}};
  const auto map = CodeMap::Load({"own.json", kSystem}, maps);
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_THAT(Codes(*map->Find("g", "a")), testing::ElementsAre("2"));
}

TEST(CodeMapFiles, OnlyAnEquivalentTargetTakesThePlaceOfOurOwnCode) {
  // R4, concept-map-equivalence: all codes that name a target.
  const std::pair<const char*, bool> kCases[] = {
      {"equal", true},  {"equivalent", true}, {"narrower", false}, {"specializes", false},
      {"wider", false}, {"subsumes", false},  {"inexact", false},  {"relatedto", false}};
  for (const auto& [equivalence, replaces] : kCases) {
    const std::string only = MapWith(R"({"code":"a","target":[{"code":"1","equivalence":")" +
                                     std::string(equivalence) + R"("}]})");
    const std::array<Pair, 1> maps = {Pair{"1.json", only}};
    const auto map = CodeMap::Load({"own.json", kSystem}, maps);
    ASSERT_TRUE(map.has_value()) << equivalence;
    const std::vector<std::string> both = {"1", "a"};
    const std::vector<std::string> one = {"1"};
    EXPECT_EQ(Codes(*map->Find("g", "a")), replaces ? one : both) << equivalence;
  }
}

TEST(CodeMapFiles, UnmatchedMeansNoTarget) {
  const std::string only =
      MapWith(R"({"code":"a","target":[{"code":"1","equivalence":"unmatched"}]})");
  const std::array<Pair, 1> maps = {Pair{"1.json", only}};
  const auto map = CodeMap::Load({"own.json", kSystem}, maps);
  ASSERT_TRUE(map.has_value());
  EXPECT_FALSE(map->Find("g", "a")->mapped);
}

}  // namespace
}  // namespace dwell::codes
