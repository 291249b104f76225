// The bundled FHIR structures under our own validator: the official R4 4.0.1 examples of
// tests/conformance/examples (see SOURCE.txt there) and the cases of
// tests/conformance/cases.ndjson, whose verdicts tests/conformance/selftest proves with other
// validators.
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

fs::path Folder() { return fs::path(DWELL_SOURCE_DIR) / "tests/conformance"; }

const Bundled& TheSchemas() {
  static const Result<Bundled> loaded = Bundled::Load(FhirRelease::kR4, Structure::kFhir);
  CHECK(loaded.has_value());
  return *loaded;
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
  std::ifstream lines(Folder() / "cases.ndjson");
  int accepted = 0, refused = 0;
  for (std::string line; std::getline(lines, line);) {
    const auto parsed = Document::Parse(line);
    ASSERT_TRUE(parsed.has_value()) << parsed.error().rule;
    const Value row = parsed->root();
    const std::string id(row.Find("id")->AsString());
    const auto violations = TheSchemas().CheckResource(*row.Find("resource"));
    if (row.Find("schemas")->AsString() == "accept") {
      EXPECT_TRUE(violations.empty()) << id << "\n" << Told(violations);
      ++accepted;
    } else {
      EXPECT_FALSE(violations.empty()) << id;
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
  for (const auto& entry : fs::directory_iterator(Folder() / "examples")) {
    if (entry.path().extension() != ".json") continue;
    const std::string name = entry.path().filename().string();
    const auto parsed = Document::Parse(ReadText(entry.path()));
    ASSERT_TRUE(parsed.has_value()) << name << " " << parsed.error().rule;
    const auto violations = TheSchemas().CheckResource(parsed->root());
    EXPECT_EQ(violations.empty(), !refused.contains(name)) << name << "\n" << Told(violations);
    ++read;
  }
  EXPECT_EQ(read, 66);
}

}  // namespace
}  // namespace dwell::schemas
