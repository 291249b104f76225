// Golden pairs: the events of a line so far and the bundle that the last step must give, byte for
// byte, in every time zone. tests/golden/<kind>/<branch>/ holds
//   in.ndjson  events in order of arrival; the last one is the one that comes in
//   setup      optional words: "licensed", "test-data", "profiles", "release=<FHIR version>",
//              "conditional" (the form of references), "security=<label>",
//              "additions" (additions.json beside it), "now=<instant>": then time alone goes on
//   out.json   the transaction Bundle
// DWELL_GOLDEN_UPDATE=1 in the environment writes out.json anew; then read the difference.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <stdlib.h>
#include <time.h>

#include <array>
#include <filesystem>
#include <map>
#include <set>
#include <sstream>

#include "schemas/bundled.h"
#include "tests/mapping/fhir/world.h"
#include "tests/support/temp_folder.h"

namespace dwell::test {
namespace {

namespace fs = std::filesystem;

struct Pair {
  std::string name;  ///< "<kind>/<branch>"
  fs::path folder;
};

std::vector<Pair> Pairs() {
  const fs::path root = fs::path(DWELL_SOURCE_DIR) / "tests/golden";
  std::vector<Pair> pairs;
  for (const auto& kind : fs::directory_iterator(root)) {
    if (!kind.is_directory()) continue;
    for (const auto& branch : fs::directory_iterator(kind.path())) {
      pairs.push_back({fs::relative(branch.path(), root).string(), branch.path()});
    }
  }
  std::ranges::sort(pairs, {}, &Pair::name);
  return pairs;
}

constexpr std::array kReleases = {FhirRelease::kR4, FhirRelease::kR4B, FhirRelease::kR5};

const schemas::Bundled& Schemas(FhirRelease release = FhirRelease::kR4) {
  static const std::array kBundled = {schemas::Bundled::Load(kReleases[0]),
                                      schemas::Bundled::Load(kReleases[1]),
                                      schemas::Bundled::Load(kReleases[2])};
  return *kBundled.at(static_cast<std::size_t>(release));
}

void ExpectLegal(std::string_view json, FhirRelease release, const std::string& name) {
  const auto document = schemas::Document::Parse(json);
  ASSERT_TRUE(document.has_value()) << name;
  for (const auto& broken : Schemas(release).CheckResource(document->root())) {
    ADD_FAILURE() << name << " in " << FhirVersion(release) << ": " << broken.pointer << " "
                  << broken.rule << " " << broken.expected;
  }
}

struct Scene {
  fhir::Context context;
  std::shared_ptr<const fhir::Additions> additions;  ///< of the context
  std::optional<Instant> now;
};

std::shared_ptr<const fhir::Additions> AdditionsOf(const Pair& pair) {
  auto additions =
      fhir::Additions::Read(ReadBytes(pair.folder / "additions.json"), Schemas(), FhirRelease::kR4);
  EXPECT_TRUE(additions.has_value()) << pair.name;
  return std::make_shared<const fhir::Additions>(std::move(*additions));
}

Scene SceneOf(const Pair& pair) {
  bool licensed = false;
  bool test_data = false;
  bool conditional = false;
  Scene scene;
  fhir::Context more;
  std::istringstream words(ReadBytes(pair.folder / "setup"));
  for (std::string word; words >> word;) {
    if (word == "licensed") licensed = true;
    if (word == "test-data") test_data = true;
    if (word == "conditional") conditional = true;
    if (word == "profiles") more.profiles = true;
    if (word.starts_with("security=")) {
      more.security.push_back(*fhir::ReadSecurityLabel(std::string_view(word).substr(9)));
    }
    if (word == "additions") scene.additions = AdditionsOf(pair);
    if (word.starts_with("release=")) {
      more.release = *FhirReleaseOf(std::string_view(word).substr(8));
    }
    if (word.starts_with("now=")) scene.now = At(std::string_view(word).substr(4));
  }
  scene.context = ContextOf(licensed, test_data);
  scene.context.release = more.release;
  scene.context.profiles = more.profiles;
  scene.context.security = more.security;
  scene.context.additions = scene.additions.get();
  if (conditional) {
    scene.context.patients = scene.context.encounters = fhir::ReferenceForm::kConditional;
  }
  return scene;
}

/// Plays a pair and gives what its last step made.
fhir::Made Play(const Pair& pair, const Scene& scene) {
  Life life(scene.context);
  fhir::Made made;
  for (const std::string& json : Lines(ReadBytes(pair.folder / "in.ndjson"))) {
    const auto document = schemas::Document::Parse(json);
    EXPECT_TRUE(document.has_value()) << pair.name;
    for (const auto& broken : Schemas().CheckEvent(document->root())) {
      ADD_FAILURE() << pair.name << ": " << broken.pointer << " " << broken.rule << " "
                    << broken.expected;
    }
    made = life.Receive(ReadOne(json));
  }
  return scene.now ? life.Wait(*scene.now) : made;
}

fhir::Made Play(const Pair& pair) { return Play(pair, SceneOf(pair)); }

/// Every number of the document, as it is written.
void NumberTexts(schemas::Value value, std::vector<std::string>& texts) {
  if (value.is_number()) texts.emplace_back(value.NumberText());
  if (!value.is_object() && !value.is_array()) return;
  for (const schemas::Value child : value) NumberTexts(child, texts);
}

class InZone : public testing::TestWithParam<const char*> {
 protected:
  void SetUp() override {
    ::setenv("TZ", GetParam(), 1);
    ::tzset();
  }
  void TearDown() override {
    ::setenv("TZ", "UTC", 1);
    ::tzset();
  }
};

TEST_P(InZone, EveryGoldenPairGivesTheSameBytes) {
  const bool update = ::getenv("DWELL_GOLDEN_UPDATE") != nullptr;
  for (const Pair& pair : Pairs()) {
    const auto resources = Play(pair).resources;
    const std::string bundle = resources.empty() ? "" : fhir::TransactionBundle(resources) + "\n";
    const std::string path = (pair.folder / "out.json").string();
    if (update && !bundle.empty()) WriteBytes(path, bundle);
    EXPECT_EQ(bundle, ReadBytes(path)) << pair.name;
  }
}

INSTANTIATE_TEST_SUITE_P(Golden, InZone,
                         testing::Values("UTC", "America/New_York", "Asia/Kathmandu",
                                         "Pacific/Chatham"));

TEST(Golden, EveryResourceAndBundleIsLegalInEveryRelease) {
  for (const Pair& pair : Pairs()) {
    Scene scene = SceneOf(pair);
    for (const FhirRelease release : kReleases) {
      scene.context.release = release;
      const auto resources = Play(pair, scene).resources;
      for (const fhir::Resource& resource : resources) {
        ExpectLegal(resource.json, release, pair.name + " " + resource.type);
      }
      if (!resources.empty()) {
        ExpectLegal(fhir::TransactionBundle(resources), release, pair.name);
      }
    }
  }
}

TEST(Golden, EveryResourceKeepsToItsProfileHoweverASiteHasItWritten) {
  for (const FhirRelease release : kReleases) {
    const auto additions = fhir::Additions::Read(
        R"({"Observation":{"category":[{"text":"lines"}],"extension":)"
        R"([{"url":"https://a.example/x","valueDecimal":2.50}]},"Task":{"owner":{"type":)"
        R"("Organization","identifier":{"system":"urn:x","value":"1"}}},"Device":{"owner":)"
        R"({"display":"trust"}},"Procedure":{"meta":{"tag":[{"system":"urn:x","code":"a"}]},)"
        R"("report":[{"display":"note"}]},"Provenance":{"policy":["https://a.example/p"]}})",
        Schemas(release), release);
    ASSERT_TRUE(additions.has_value()) << FhirVersion(release);
    for (const Pair& pair : Pairs()) {
      Scene scene = SceneOf(pair);
      scene.context.release = release;
      scene.context.patients = scene.context.encounters = fhir::ReferenceForm::kConditional;
      scene.context.profiles = true;
      scene.context.security = {{"urn:x", "R", ""}};
      scene.context.additions = &*additions;
      for (const fhir::Resource& resource : Play(pair, scene).resources) {
        ExpectLegal(resource.json, release, pair.name + " " + resource.type);
      }
    }
  }
}

TEST(Golden, NoNumberHasAnExponent) {
  for (const Pair& pair : Pairs()) {
    for (const fhir::Resource& resource : Play(pair).resources) {
      const auto document = schemas::Document::Parse(resource.json);
      ASSERT_TRUE(document.has_value()) << pair.name;
      std::vector<std::string> numbers;
      NumberTexts(document->root(), numbers);
      EXPECT_THAT(numbers, testing::Each(testing::Not(testing::ContainsRegex("[eE]"))))
          << pair.name;
    }
  }
}

/// R4B is R4 in everything that we write.
TEST(Golden, R4BIsTheSameBytesAsR4) {
  for (const Pair& pair : Pairs()) {
    Scene scene = SceneOf(pair);
    scene.context.release = FhirRelease::kR4;
    const auto r4 = Play(pair, scene).resources;
    scene.context.release = FhirRelease::kR4B;
    const auto r4b = Play(pair, scene).resources;
    ASSERT_EQ(r4.size(), r4b.size()) << pair.name;
    for (std::size_t i = 0; i < r4.size(); ++i) EXPECT_EQ(r4[i].json, r4b[i].json) << pair.name;
  }
}

TEST(Golden, EveryKindAndTypeHasItsPairs) {
  std::set<std::string> kinds;
  std::set<std::string> types;
  for (const Pair& pair : Pairs()) {
    kinds.insert(pair.name.substr(0, pair.name.find('/')));
    for (const fhir::Resource& resource : Play(pair).resources) types.insert(resource.type);
  }
  EXPECT_THAT(kinds, testing::ElementsAre("clock", "dressing-change", "flush", "insertion", "r5",
                                          "removal", "replaces", "retraction", "site-check"));
  EXPECT_THAT(types, testing::ElementsAre("Device", "DeviceAssociation", "DeviceUsage",
                                          "DeviceUseStatement", "Observation", "Procedure",
                                          "Provenance", "Task"));
}

}  // namespace
}  // namespace dwell::test
