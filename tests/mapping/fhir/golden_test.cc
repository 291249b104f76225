// Golden pairs: the events of a line so far and the bundle that the last step must give, byte for
// byte, in every time zone. tests/golden/<kind>/<branch>/ holds
//   in.ndjson  events in order of arrival; the last one is the one that comes in
//   setup      optional words: "licensed", "test-data", "now=<instant>": then time alone goes on to
//   it out.json   the transaction Bundle
// DWELL_GOLDEN_UPDATE=1 in the environment writes out.json anew; then read the difference.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <stdlib.h>
#include <time.h>

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

const schemas::Bundled& Schemas() {
  static const auto kBundled = schemas::Bundled::Load();
  EXPECT_TRUE(kBundled.has_value()) << kBundled.error().message();
  return *kBundled;
}

/// Plays a pair and gives what its last step made.
fhir::Made Play(const Pair& pair) {
  bool licensed = false;
  bool test_data = false;
  std::optional<Instant> now;
  std::istringstream setup(ReadBytes(pair.folder / "setup"));
  for (std::string word; setup >> word;) {
    if (word == "licensed") licensed = true;
    if (word == "test-data") test_data = true;
    if (word.starts_with("now=")) now = At(std::string_view(word).substr(4));
  }
  Life life(ContextOf(licensed, test_data));
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
  return now ? life.Wait(*now) : made;
}

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

TEST(Golden, EveryResourceIsLegalAndNoNumberHasAnExponent) {
  for (const Pair& pair : Pairs()) {
    for (const fhir::Resource& resource : Play(pair).resources) {
      const auto document = schemas::Document::Parse(resource.json);
      ASSERT_TRUE(document.has_value()) << pair.name;
      for (const auto& broken : Schemas().CheckResource(document->root())) {
        ADD_FAILURE() << pair.name << " " << resource.type << ": " << broken.pointer << " "
                      << broken.rule << " " << broken.expected;
      }
      std::vector<std::string> numbers;
      NumberTexts(document->root(), numbers);
      EXPECT_THAT(numbers, testing::Each(testing::Not(testing::ContainsRegex("[eE]"))))
          << pair.name;
    }
  }
}

TEST(Golden, EveryBundleIsALegalTransaction) {
  for (const Pair& pair : Pairs()) {
    const auto resources = Play(pair).resources;
    if (resources.empty()) continue;
    const std::string bundle = fhir::TransactionBundle(resources);
    const auto document = schemas::Document::Parse(bundle);
    ASSERT_TRUE(document.has_value()) << pair.name;
    for (const auto& broken : Schemas().CheckResource(document->root())) {
      ADD_FAILURE() << pair.name << ": " << broken.pointer << " " << broken.rule << " "
                    << broken.expected;
    }
  }
}

TEST(Golden, EveryKindAndTypeHasItsPairs) {
  std::set<std::string> kinds;
  std::set<std::string> types;
  for (const Pair& pair : Pairs()) {
    kinds.insert(pair.name.substr(0, pair.name.find('/')));
    for (const fhir::Resource& resource : Play(pair).resources) types.insert(resource.type);
  }
  EXPECT_THAT(kinds, testing::ElementsAre("clock", "dressing-change", "flush", "insertion",
                                          "removal", "replaces", "retraction", "site-check"));
  EXPECT_THAT(types, testing::ElementsAre("Device", "DeviceUseStatement", "Observation",
                                          "Procedure", "Provenance", "Task"));
}

}  // namespace
}  // namespace dwell::test
