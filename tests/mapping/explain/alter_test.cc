#include "mapping/explain/alter.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "schemas/base/check.h"

namespace dwell::explain {
namespace {

using testing::Contains;
using testing::ElementsAre;

std::string Rewritten(std::string_view pointer, std::string_view json) {
  const auto document =
      schemas::Document::Parse(R"({"a":[{"b":"x","c":2.50},{"b":"y"}],"d/e":null})");
  CHECK(document.has_value());
  return Rewrite(document->root(), pointer, json);
}

TEST(Alter, ReplacesOrLeavesOutOneValueAndKeepsTheTextOfTheRest) {
  EXPECT_EQ(Rewritten("/a/1/b", R"("z")"), R"({"a":[{"b":"x","c":2.50},{"b":"z"}],"d/e":null})");
  EXPECT_EQ(Rewritten("/a/0/b", ""), R"({"a":[{"c":2.50},{"b":"y"}],"d/e":null})");
  EXPECT_EQ(Rewritten("/d~1e", "true"), R"({"a":[{"b":"x","c":2.50},{"b":"y"}],"d/e":true})");
  EXPECT_EQ(Rewritten("/a/0", ""), R"({"a":[{"b":"y"}],"d/e":null})");
  EXPECT_EQ(Rewritten("/nowhere", "1"), R"({"a":[{"b":"x","c":2.50},{"b":"y"}],"d/e":null})");
}

std::vector<std::string> Others(const Field& field, std::string_view json) {
  const auto document = schemas::Document::Parse(json);
  CHECK(document.has_value());
  return OtherValues(field, document->root());
}

TEST(Alter, OtherValuesAreOthersOfTheSameShape) {
  EXPECT_THAT(Others({"/c", "string", "", true, {}}, R"("yes-sir")"),
              ElementsAre(R"("in-no-map")"));
  EXPECT_THAT(Others({"/t", "string", "moment", false, {}}, R"("2026-03-02T08:01:00+00:00")"),
              Contains(R"("2026-03-02T08:02:00+00:00")"));
  EXPECT_THAT(Others({"/n", "number", "", false, {}}, "2.5"), Contains("2.6"));
  EXPECT_THAT(Others({"/w", "", "", false, {"no", "yes"}}, R"("no")"), testing::IsEmpty());
  for (const std::string& other : Others({"/s", "string", "", false, {}}, R"("L-47")")) {
    EXPECT_NE(other, R"("L-47")");
  }
}

}  // namespace
}  // namespace dwell::explain
