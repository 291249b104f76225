#include "daemon/command/remap.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::command {
namespace {

using testing::HasSubstr;

std::string Words(std::string_view row) {
  return RemappedInWords(schemas::Document::Parse(row)->root());
}

TEST(Remap, ALineTellsEachResourceAndEachPlaceThatDiffers) {
  EXPECT_EQ(
      Words(
          R"({"source":"s","line_id":"l1","ward":"alder","resources":[{"resource":"Observation/o1",)"
          R"("role":"flush-record","state":"differs","changes":[{"at":"/code/text","before":"a",)"
          R"("after":"b"},{"at":"/note","after":"c"}]},{"resource":"Task/t1","role":"task",)"
          R"("state":"not-kept"}],"same":2,"waiting":1,"on_hold":1,"delivery":9})"),
      "line l1 of s, ward alder: delivery 9, behind 1 on hold\n"
      "  Observation/o1 (flush-record): differs\n"
      "    /code/text: a -> b\n"
      "    /note: - -> c\n"
      "  Task/t1 (task): what was issued is not kept any more, sent to be sure\n");
}

TEST(Remap, TroubleSaysThatNothingWasDone) {
  EXPECT_THAT(Words(R"({"source":"s","line_id":"l1","resources":[],"same":0,"waiting":0,)"
                    R"("on_hold":0,"trouble":"its stored events contradict each other"})"),
              HasSubstr("\n  nothing done: its stored events contradict each other\n"));
}

TEST(Remap, ALongTextIsCutBetweenCharacters) {
  std::string text(119, 'x');
  text += "\xc3\xa9\xc3\xa9";  // two letters of two bytes
  const std::string words =
      Words(R"({"source":"s","line_id":"l","on_hold":0,"resources":[{"resource":"a/b","role":"r",)"
            R"("state":"differs","changes":[{"at":"/t","before":")" +
            text + R"("}]}]})");
  EXPECT_THAT(words, HasSubstr(std::string(119, 'x') + "... -> -\n"));
}

TEST(Remap, TheSumsSayWhatWaitsBehindAHeldDeliveryAndWhatStaysAsItIs) {
  const std::string words =
      Words(R"({"sums":{"lines":5,"differ":2,"same":7,"sent":2,"troubles":1,"behind_on_hold":1,)"
            R"("no_longer_kept":4,"types":{"Observation":3,"Task":1}}})");
  EXPECT_THAT(words,
              HasSubstr("5 lines derived again, something differs in 2; deliveries made: 2"));
  EXPECT_THAT(words, HasSubstr("\n  Observation 3\n  Task 1\n"));
  EXPECT_THAT(words, HasSubstr("\n7 resources come out as they were issued"));
  EXPECT_THAT(words, HasSubstr("\n1 lines have a delivery on hold"));
  EXPECT_THAT(words, HasSubstr("\n4 lines ended long ago and are no longer kept"));
  EXPECT_THAT(words, HasSubstr("\n1 lines could not be done"));
}

struct UsageRow {
  const char* what;
  std::vector<std::string> arguments;
  int exit_code;
};

class RemapUsage : public testing::TestWithParam<UsageRow> {};

TEST_P(RemapUsage, WantsLinesNamedAndToSendAlsoWhoAndWhy) {
  const Options options = ReadOptions(GetParam().arguments);
  EXPECT_EQ(options.exit_code, GetParam().exit_code) << GetParam().what;
  EXPECT_EQ(options.verb.empty(), GetParam().exit_code != 0) << GetParam().what;
}

INSTANTIATE_TEST_SUITE_P(
    Rows, RemapUsage,
    testing::Values(
        UsageRow{"all", {"remap", "--all"}, 0}, UsageRow{"a ward", {"remap", "--ward", "w"}, 0},
        UsageRow{"a line of a source", {"remap", "--line", "l", "--source", "s", "--json"}, 0},
        UsageRow{"no lines", {"remap"}, 64},
        UsageRow{"both", {"remap", "--all", "--ward", "w"}, 64},
        UsageRow{"to send", {"remap", "--all", "--send", "--by", "op-3", "--why", "y"}, 0},
        UsageRow{"nobody sends", {"remap", "--all", "--send", "--why", "y"}, 64},
        UsageRow{"no reason", {"remap", "--all", "--send", "--by", "op-3"}, 64},
        UsageRow{"who without sending", {"remap", "--all", "--by", "op-3", "--why", "y"}, 64}));

}  // namespace
}  // namespace dwell::command
