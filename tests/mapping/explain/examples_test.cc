#include "mapping/explain/examples.h"

#include <gtest/gtest.h>

#include "mapping/event/reader.h"
#include "mapping/explain/explain.h"
#include "schemas/bundled.h"
#include "tests/mapping/explain/leaves.h"

namespace dwell::explain {
namespace {

schemas::Document Parsed(const std::string& json) {
  auto document = schemas::Document::Parse(json);
  CHECK(document.has_value());
  return std::move(*document);
}

TEST(Examples, AreLegalEvents) {
  const auto schemas = schemas::Bundled::Load();
  ASSERT_TRUE(schemas.has_value());
  for (const std::string_view kind : Kinds()) {
    for (const Example& example : ExamplesOf(kind)) {
      std::vector<std::string> all = example.before;
      all.push_back(example.event);
      for (const std::string& json : all) {
        const auto document = Parsed(json);
        EXPECT_TRUE(schemas->CheckEvent(document.root()).empty()) << json;
        EXPECT_TRUE(event::ReadEvent(document.root()).has_value()) << json;
      }
      EXPECT_EQ(Parsed(example.event).At("/kind")->AsString(), kind) << example.about;
    }
  }
}

TEST(Examples, TogetherHaveEveryLeafOfTheContract) {
  for (const std::string_view kind : Kinds()) {
    std::set<std::string> missing = Leaves::Of(std::string(kind));
    EXPECT_GT(missing.size(), 20U);
    for (const Example& example : ExamplesOf(kind)) {
      const auto document = Parsed(example.event);
      std::erase_if(missing,
                    [&](const std::string& leaf) { return document.At(leaf).has_value(); });
    }
    EXPECT_EQ(missing, std::set<std::string>()) << kind;
  }
}

}  // namespace
}  // namespace dwell::explain
