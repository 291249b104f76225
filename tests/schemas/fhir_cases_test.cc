// The bundled FHIR structures under our own validator: the official R4 4.0.1 examples of
// tests/conformance/examples (see SOURCE.txt there) and the cases of
// tests/conformance/cases.ndjson, whose verdicts tests/conformance/selftest proves with other
// validators.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "schemas/bundled.h"
#include "schemas/json/document.h"

namespace dwell::schemas {
namespace {

namespace fs = std::filesystem;
using ::testing::IsEmpty;
using ::testing::Not;

const fs::path kFolder = fs::path(DWELL_SOURCE_DIR) / "tests/conformance";

const Bundled& TheSchemas() {
  static const Result<Bundled> loaded = Bundled::Load();
  CHECK(loaded.ok());
  return loaded.value();
}

std::string Told(const std::vector<Violation>& violations) {
  std::string told;
  for (const Violation& violation : violations) {
    told += violation.pointer + " " + violation.rule + ": " + violation.expected + "\n";
  }
  return told;
}

std::string ReadText(const fs::path& path) {
  std::ostringstream text;
  text << std::ifstream(path, std::ios::binary).rdbuf();
  return text.str();
}

TEST(FhirStructures, AcceptSoundCasesAndRefuseEachDefect) {
  std::ifstream lines(kFolder / "cases.ndjson");
  int accepted = 0, refused = 0;
  for (std::string line; std::getline(lines, line);) {
    const auto parsed = Document::Parse(line);
    ASSERT_TRUE(parsed.ok()) << parsed.error().rule;
    const Value row = parsed.value().root();
    const std::string id(row.Find("id")->AsString());
    // In a document of its own: places are told from the resource on.
    const std::string start = R"("resource":)";
    const std::size_t at = line.find(start) + start.size();
    const auto resource = Document::Parse(std::string_view(line).substr(at, line.size() - at - 1));
    ASSERT_TRUE(resource.ok()) << id;
    const auto violations = TheSchemas().CheckResource(resource.value().root());
    if (row.Find("schemas")->AsString() == "accept") {
      EXPECT_THAT(violations, IsEmpty()) << id << "\n" << Told(violations);
      ++accepted;
    } else {
      EXPECT_THAT(violations, Not(IsEmpty())) << id;
      ++refused;
    }
  }
  EXPECT_GE(accepted, 40);
  EXPECT_GE(refused, 100);
}

TEST(FhirStructures, AcceptTheOfficialExamplesOfOurTypes) {
  // The first breaks R4 itself; the bundles hold resource types that we never make.
  const std::set<std::string> refused = {
      "DeviceUseStatement-example.json", "Bundle-bundle-example.json",
      "Bundle-bundle-references.json",   "Bundle-bundle-response.json",
      "Bundle-bundle-transaction.json",  "Bundle-xds.json"};
  int read = 0;
  for (const auto& entry : fs::directory_iterator(kFolder / "examples")) {
    if (entry.path().extension() != ".json") continue;
    const std::string name = entry.path().filename().string();
    const auto parsed = Document::Parse(ReadText(entry.path()));
    ASSERT_TRUE(parsed.ok()) << name << " " << parsed.error().rule;
    const auto violations = TheSchemas().CheckResource(parsed.value().root());
    EXPECT_EQ(violations.empty(), !refused.contains(name)) << name << "\n" << Told(violations);
    ++read;
  }
  EXPECT_EQ(read, 66);
}

}  // namespace
}  // namespace dwell::schemas
