// Where two documents differ, as JSON Pointers (RFC 6901).
#include "daemon/ledger/differences.h"

#include <gtest/gtest.h>

namespace dwell::ledger {
namespace {

struct Row {
  const char* what;
  const char* before;
  const char* after;
  std::string told;  ///< "pointer|before|after" of each change, with a line end
};

class Differ : public testing::TestWithParam<Row> {};

TEST_P(Differ, IsToldPlaceByPlace) {
  const auto before = schemas::Document::Parse(GetParam().before);
  const auto after = schemas::Document::Parse(GetParam().after);
  std::string told;
  for (const Change& change :
       Differences(before->root(), after->root(),
                   [](std::string_view pointer) { return pointer == "/ignored"; })) {
    told += change.pointer + "|" + change.before + "|" + change.after + "\n";
  }
  EXPECT_EQ(told, GetParam().told) << GetParam().what;
}

INSTANTIATE_TEST_SUITE_P(
    Rows, Differ,
    testing::Values(
        Row{"the same", R"({"a":[1,{"b":null}]})", R"({"a":[1,{"b":null}]})", ""},
        Row{"other order of members", R"({"a":1,"b":2})", R"({"b":2,"a":1})", ""},
        Row{"passed over", R"({"ignored":1})", R"({"ignored":2})", ""},
        Row{"a number keeps its text", R"({"a":2.5})", R"({"a":2.50})", "/a|2.5|2.50\n"},
        Row{"another kind", R"({"a":"1"})", R"({"a":1})", "/a|1|1\n"},
        Row{"gone and come", R"({"a":true})", R"({"b":[{"c":"d"}]})",
            "/a|true|\n/b||[{\"c\":\"d\"}]\n"},
        Row{"a longer list", R"({"a":["x"]})", R"({"a":["x","y"]})", "/a/1||y\n"},
        Row{"a shorter list", R"({"a":["x","y"]})", R"({"a":["y"]})", "/a/0|x|y\n/a/1|y|\n"},
        Row{"names escaped by RFC 6901 section 3", R"({"a/b~":1})", R"({"a/b~":2})",
            "/a~1b~0|1|2\n"}));

}  // namespace
}  // namespace dwell::ledger
