// A site's own map laid over the bundled ones: what it may say, and how it is refused.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "mapping/codes/codes.h"

namespace dwell::codes {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;

/// A map with one group to `system` and these elements.
std::string MapTo(const std::string& system, const std::string& elements) {
  return R"({"resourceType":"ConceptMap","status":"active","group":[{"source":")" +
         std::string(kOurSystem) + R"(","target":")" + system + R"(","element":[)" + elements +
         "]}]}";
}

std::string Row(const std::string& code, const std::string& target, const std::string& more = {}) {
  return R"({"code":")" + code + R"(","display":"said by the site","target":[{"code":")" + target +
         R"(","display":"T","equivalence":"equivalent")" + more + "}]}";
}

std::string DependsOn(const std::string& group, const std::string& value) {
  return R"(,"dependsOn":[{"property":")" + std::string(kOurSystem) + "#" + group +
         R"(","value":")" + value + R"("}])";
}

Result<CodeMap> Load(const std::string& map,
                     CodeMap::Edition edition = CodeMap::Edition::kLicensed) {
  return CodeMap::LoadBundled(edition, File{"site.json", map});
}

std::vector<std::string> Codes(const Concept& what) {
  std::vector<std::string> codes;
  for (const Coding& coding : what.codings) codes.push_back(coding.code);
  return codes;
}

TEST(SiteMap, GoesBeforeOursForTheSameSystem) {
  const auto map = Load(MapTo("http://snomed.info/sct", Row("peripheral-cannula", "79068005")));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_THAT(Codes(*map->Find("line-kind", "peripheral-cannula")),
              ElementsAre("79068005", "IVLINE"));
  EXPECT_EQ(map->Find("line-kind", "peripheral-cannula")->text, "peripheral cannula");
}

TEST(SiteMap, GoesAlsoBeforeTheFinerTargetsThatWeHave) {
  const auto map = Load(MapTo("http://snomed.info/sct", Row("forearm", "85562004")));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_THAT(Codes(*map->Find("site", "forearm", "left")), ElementsAre("85562004"));
  EXPECT_EQ(map->Find("site", "forearm", "left")->text, "left forearm");
}

TEST(SiteMap, MayBeFinerForOneSideOnly) {
  const auto map =
      Load(MapTo("http://snomed.info/sct", Row("forearm", "85562004", DependsOn("side", "left"))));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_THAT(Codes(*map->Find("site", "forearm", "left")), ElementsAre("85562004"));
  EXPECT_THAT(Codes(*map->Find("site", "forearm", "right")), ElementsAre("64262003"));
}

TEST(SiteMap, MayAddASystem) {
  const auto map = Load(MapTo("https://stmerrow.example/codes", Row("phlebitis", "PHL")));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_THAT(Codes(*map->Find("reason", "phlebitis")), ElementsAre("61599003", "PHL"));
}

TEST(SiteMap, MayTakeATargetAway) {
  const auto map = Load(MapTo("http://snomed.info/sct",
                              R"({"code":"swelling","target":[{"equivalence":"unmatched"}]})"));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_FALSE(map->Find("sign", "swelling")->mapped);
  EXPECT_THAT(Codes(*map->Find("sign", "swelling")), ElementsAre("swelling"));
}

TEST(SiteMap, TranslatesCodesOfTheSitesOwnMaking) {
  const auto map = Load(MapTo("http://snomed.info/sct", Row("big-toe", "56459004")));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  const Found found = map->Find("site", "big-toe", "left");
  EXPECT_TRUE(found->mapped);
  EXPECT_THAT(Codes(*found), ElementsAre("56459004"));
  EXPECT_EQ(found->text, "left said by the site");
  EXPECT_EQ(map->Find("reason", "big-toe")->text, "said by the site");
}

TEST(SiteMap, TranslatesProceduresOnAKindOfLineOfItsOwn) {
  const auto map = Load(MapTo("http://snomed.info/sct", Row("line-insertion", "429446009",
                                                            DependsOn("line-kind", "long-line"))));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_EQ(map->Find("procedure", "line-insertion", "long-line")->text,
            "insertion of line (long line)");
}

TEST(SiteMap, KnowsItsCodesAndOurs) {
  const auto map = Load(MapTo("urn:x", Row("big-toe", "T1")));
  ASSERT_TRUE(map.has_value()) << map.error().message();
  EXPECT_TRUE(map->Knows("site", "big-toe"));
  EXPECT_TRUE(map->Knows("reason", "phlebitis"));
  EXPECT_FALSE(map->Knows("action", "phlebitis"));
  EXPECT_FALSE(map->Knows("reason", "left-over"));
}

TEST(SiteMap, ChangesTheFingerprint) {
  const auto plain = CodeMap::LoadBundled(CodeMap::Edition::kFree);
  const auto with = Load(MapTo("urn:x", Row("big-toe", "T1")), CodeMap::Edition::kFree);
  ASSERT_TRUE(plain.has_value() && with.has_value());
  EXPECT_NE(plain->fingerprint(), with->fingerprint());
}

struct Broken {
  const char* what;
  std::string map;
  const char* place;
  const char* said;
};

TEST(SiteMap, IsRefusedWithFileAndPlace) {
  const std::string sct = "http://snomed.info/sct";
  const std::string source = std::string(R"({"source":")") + std::string(kOurSystem) + "\"";
  const Broken kCases[] = {
      {"nothing in it", R"({"resourceType":"ConceptMap"})", "/group", "at least one"},
      {"groups of no shape", R"({"resourceType":"ConceptMap","group":{}})", "/group", "array"},
      {"other source system",
       R"({"resourceType":"ConceptMap","group":[{"source":"urn:y","target":"urn:x"}]})",
       "/group/0/source", "line-care"},
      {"no target system", R"({"resourceType":"ConceptMap","group":[)" + source + "}]}",
       "/group/0/target", "canonical"},
      {"target system no URI", MapTo("snomed", Row("swelling", "1")), "/group/0/element/0/target/0",
       "absolute URI"},
      {"check digit of SNOMED CT", MapTo(sct, Row("swelling", "65124005")),
       "/group/0/element/0/target/0", "check digit"},
      {"check digit of LOINC", MapTo("http://loinc.org", Row("swelling", "8310-6")),
       "/group/0/element/0/target/0", "LOINC"},
      {"blank behind a code", MapTo("urn:x", Row("swelling", "1 ")), "/group/0/element/0/target/0",
       "blanks"},
      {"twice", MapTo("urn:x", Row("swelling", "1") + "," + Row("swelling", "2")),
       "/group/0/element/1/target/0", "one target"},
      {"R5 shape",
       MapTo("urn:x", R"({"code":"swelling","target":[{"code":"1","relationship":"equivalent"}]})"),
       "/group/0/element/0/target/0/equivalence", "R4"},
      {"side that is none", MapTo(sct, Row("forearm", "14975008", DependsOn("side", "lft"))),
       "/group/0/element/0", "known value of side"},
      {"side of what has none", MapTo(sct, Row("swelling", "65124004", DependsOn("side", "left"))),
       "/group/0/element/0", "by side"},
      {"condition of no shape",
       MapTo(sct, Row("forearm", "14975008", R"(,"dependsOn":{"value":"left"})")),
       "/group/0/element/0/target/0/dependsOn", "value"},
      {"own code without words",
       MapTo("urn:x", R"({"code":"big-toe","target":[{"code":"1","equivalence":"equal"}]})"),
       "/group/0/element/0", "display"},
      {"own code that is never sent", MapTo("urn:x", Row("Big Toe", "1")), "/group/0/element/0",
       "as events send it"},
      {"no rows for the rest",
       R"({"resourceType":"ConceptMap","group":[)" + source +
           R"(,"target":"urn:x","unmapped":{"mode":"provided"}}]})",
       "/group/0/unmapped", "nothing"},
      {"meaning changed by what we do not know",
       MapTo("urn:x", Row("swelling", "1", R"(,"modifierExtension":[])")),
       "/group/0/element/0/target/0", "modifierExtension"},
  };
  for (const Broken& broken : kCases) {
    const auto map = Load(broken.map);
    ASSERT_FALSE(map.has_value()) << broken.what;
    EXPECT_EQ(map.error().kind(), ErrorKind::kConfig);
    EXPECT_THAT(map.error().message(),
                AllOf(HasSubstr("site.json at \"" + std::string(broken.place) + "\""),
                      HasSubstr(broken.said)))
        << broken.what;
  }
}

TEST(OwnCodes, TellWhichGoOutInOurOwnWords) {
  const auto map = CodeMap::LoadBundled(CodeMap::Edition::kFree);
  ASSERT_TRUE(map.has_value());
  const auto own = map->OwnCodes();
  const auto mapped = [&](std::string_view group, std::string_view code) {
    for (const OwnCode& each : own) {
      if (each.group == group && each.code == code) return each.what->mapped ? "yes" : "no";
    }
    return "not ours";
  };
  EXPECT_STREQ(mapped("sign", "pain"), "yes");
  EXPECT_STREQ(mapped("sign", "palpable-cord"), "no");
  EXPECT_STREQ(mapped("sign", "left-over"), "not ours");
  EXPECT_GT(own.size(), 200U);
}

}  // namespace
}  // namespace dwell::codes
