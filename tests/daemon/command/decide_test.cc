#include "daemon/command/decide.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::command {
namespace {

using testing::HasSubstr;

std::string Words(std::string_view row) {
  return DecidedInWords(schemas::Document::Parse(row)->root());
}

TEST(Decide, EachAnswerSaysWhatBecameOfTheDelivery) {
  EXPECT_EQ(Words(R"({"delivery":7,"state":"ready","decision":"released"})"),
            "delivery 7: ready again, first of its line\n");
  EXPECT_EQ(Words(R"({"delivery":7,"refusal":"it is completed"})"),
            "delivery 7: nothing done, it is completed\n");
  EXPECT_EQ(Words(R"({"delivery":7,"state":"cancelled","decision":"made-again","made_again_as":9,)"
                  R"("with_it":[8]})"),
            "delivery 7: made again as delivery 9, with 1 that waited behind it\n");
  EXPECT_EQ(Words(R"({"delivery":7,"state":"cancelled","decision":"made-again"})"),
            "delivery 7: made again, and nothing of it is left to tell\n");
}

TEST(Decide, ACancelledDeliverysResourcesAreListedSoThatNothingIsLostSilently) {
  const std::string words = Words(
      R"({"delivery":7,"state":"cancelled","decision":"cancelled","not_issued":["Task/a","Device/b"]})");
  EXPECT_THAT(words, HasSubstr("in the line's next delivery:\n  Task/a\n  Device/b\n"));
}

struct UsageRow {
  const char* what;
  std::vector<std::string> arguments;
  int exit_code;
};

class DecideUsage : public testing::TestWithParam<UsageRow> {};

TEST_P(DecideUsage, IsHeldAgainstWhatEachCommandNeeds) {
  const Options options = ReadOptions(GetParam().arguments);
  EXPECT_EQ(options.exit_code, GetParam().exit_code) << GetParam().what;
  EXPECT_EQ(options.verb.empty(), GetParam().exit_code != 0) << GetParam().what;
}

INSTANTIATE_TEST_SUITE_P(
    Rows, DecideUsage,
    testing::Values(
        UsageRow{"a delivery", {"release", "7", "--by", "op-3", "--why", "mended"}, 0},
        UsageRow{
            "an event", {"release", "e1", "--source", "s", "--by", "op-3", "--why", "mended"}, 0},
        UsageRow{"a class",
                 {"release", "--all-of", "answered 422", "--by", "op-3", "--why", "mended"},
                 0},
        UsageRow{"both", {"release", "7", "--all-of", "x", "--by", "op-3", "--why", "y"}, 64},
        UsageRow{"nobody decides", {"release", "7", "--why", "mended"}, 64},
        UsageRow{"no reason", {"cancel", "7", "--by", "op-3"}, 64},
        UsageRow{"no delivery", {"cancel", "--by", "op-3", "--why", "obsolete"}, 64},
        UsageRow{"a class cannot be cancelled",
                 {"cancel", "--all-of", "x", "--by", "op-3", "--why", "y"},
                 64}));

}  // namespace
}  // namespace dwell::command
