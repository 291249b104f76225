// The public JSON Schema test suite, draft 04 (github.com/json-schema-org/JSON-Schema-Test-Suite,
// as in Debian's json-schema-test-suite): every mandatory case is either decided right, or its
// schema is refused when loaded because it uses something that our schemas do not need. None is
// decided wrong.
#include <gmock/gmock.h>

#include <cstdlib>
#include <filesystem>
#include <map>

#include "schemas/schema.h"
#include "tests/schemas/files.h"

namespace dwell::schemas {
namespace {

std::filesystem::path SuiteFolder() {
  const char* folder = std::getenv("DWELL_JSON_SCHEMA_SUITE");
  return folder != nullptr ? folder : "/usr/share/json-schema-test-suite/tests/draft4";
}

struct Count {
  int right = 0;
  int refused = 0;
};

void RunGroup(const std::string& where, Value group, Count* count) {
  const Value cases = *group.Find("tests");
  const auto schema = Schema::Load(WriteJson(*group.Find("schema")));
  if (schema.has_error()) {
    count->refused += static_cast<int>(cases.size());
    EXPECT_NE(schema.error().message().find('#'), std::string::npos) << "says where";
    return;
  }
  for (Value test : cases) {
    const auto violations = schema->Check(*test.Find("data"));
    EXPECT_EQ(violations.empty(), test.Find("valid")->AsBool())
        << where << ": " << group.Find("description")->AsString() << ": "
        << test.Find("description")->AsString() << "\n"
        << Describe(violations);
    ++count->right;
  }
}

TEST(Draft04Suite, EveryMandatoryCaseIsDecidedRightOrItsSchemaIsRefused) {
  ASSERT_TRUE(std::filesystem::is_directory(SuiteFolder()))
      << "install the package json-schema-test-suite";
  std::map<std::string, Count> counts;
  Count all;
  for (const auto& entry : std::filesystem::directory_iterator(SuiteFolder())) {
    if (entry.path().extension() != ".json") continue;
    const std::string text = ReadFile(entry.path());
    const auto document = Document::Parse(text);
    ASSERT_TRUE(document) << entry.path();
    Count& count = counts[entry.path().stem()];
    for (Value group : document->root()) RunGroup(entry.path().stem(), group, &count);
    all.right += count.right;
    all.refused += count.refused;
  }
  std::string refused;
  for (const auto& [file, count] : counts) {
    if (count.refused > 0) refused += file + " " + std::to_string(count.refused) + "; ";
  }
  RecordProperty("right", all.right);
  RecordProperty("refused", all.refused);
  // The 320 mandatory cases of version 2.0.0; a newer suite has more.
  EXPECT_GE(all.right + all.refused, 320);
  EXPECT_GE(all.right, 200) << "refused when loaded: " << refused;
  std::printf("draft 04: %d right, %d refused when loaded (%s)\n", all.right, all.refused,
              refused.c_str());
}

}  // namespace
}  // namespace dwell::schemas
