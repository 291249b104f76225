// Every SNOMED CT and LOINC code in any JSON file that we ship: maps, ValueSets, CodeSystem,
// examples of a site's map. Read from the files as they lie, not through our own readers.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "schemas/json/document.h"
#include "tests/mapping/codes/sources.h"

namespace dwell::codes {
namespace {

namespace fs = std::filesystem;
using schemas::Value;

struct Used {
  std::string system, code, display;
};

std::string Text(Value object, std::string_view name) {
  const auto found = object.Find(name);
  return found && found->is_string() ? std::string(found->AsString()) : std::string();
}

/// Collects the codes below `value`. Their system is said by themselves (Coding, product of a
/// ConceptMap), or by what they stand in: `system` of a ValueSet's include, `target` of a
/// ConceptMap's group.
void Collect(Value value, std::string system, std::vector<Used>& found) {
  if (value.is_object()) {
    const std::string own = Text(value, "system");
    const std::string group = Text(value, "target");
    if (!own.empty()) system = own;
    if (!group.empty()) system = group;
    const bool maps_from_here = value.Find("target").has_value();  // then the code is the source's
    const std::string code = Text(value, "code");
    if (!code.empty() && !maps_from_here) found.push_back({system, code, Text(value, "display")});
    const std::string product = Text(value, "value");
    if (!own.empty() && !product.empty()) found.push_back({own, product, Text(value, "display")});
  }
  if (!value.is_object() && !value.is_array()) return;
  for (const Value child : value) Collect(child, system, found);
}

std::vector<Used> CodesIn(const fs::path& file) {
  std::ostringstream text;
  text << std::ifstream(file, std::ios::binary).rdbuf();
  const auto document =
      schemas::Document::Parse(text.str(), {.bytes_max = 16 << 20, .values_max = 1'000'000});
  EXPECT_TRUE(document.has_value()) << file;
  std::vector<Used> found;
  if (document) Collect(document->root(), "", found);
  return found;
}

TEST(ShippedFiles, EverySnomedAndLoincCodeHasARightCheckDigitAndItsSource) {
  int snomed = 0;
  int loinc = 0;
  for (const char* folder : {"mapping", "deploy"}) {
    for (const auto& file : fs::recursive_directory_iterator(fs::path(DWELL_SOURCE_DIR) / folder)) {
      if (file.path().extension() != ".json") continue;
      for (const Used& used : CodesIn(file.path())) {
        if (used.system != kSnomedCt && used.system != kLoinc) continue;
        ++(used.system == kLoinc ? loinc : snomed);
        EXPECT_FALSE(WrongForm(used.system, used.code).has_value())
            << file.path() << ": " << used.code;
        EXPECT_TRUE(Lists(kFreeCodes, used.system, used.code, used.display) ||
                    Lists(kLicensedCodes, used.system, used.code, used.display))
            << file.path() << ": " << used.code << " " << used.display << " is in no source table";
      }
    }
  }
  EXPECT_GT(snomed, 150);
  EXPECT_GE(loinc, 8);
}

// The tables themselves: a typing error there would let the same error into a map.
TEST(SourceTables, HoldRightCheckDigitsAndSayWhereEachCodeIsFrom) {
  const auto check = [](const SourcedCode& row) {
    EXPECT_FALSE(WrongForm(row.system, row.code).has_value()) << row.code;
    EXPECT_FALSE(row.display.empty()) << row.code;
    EXPECT_FALSE(row.source.empty()) << row.code;
  };
  for (const SourcedCode& row : kFreeCodes) check(row);
  for (const SourcedCode& row : kLicensedCodes) check(row);
}

}  // namespace
}  // namespace dwell::codes
