#include "daemon/command/code_report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::command {
namespace {

using testing::HasSubstr;
using testing::Not;

std::string Words(std::string_view json) {
  const auto document = schemas::Document::Parse(json);
  return UnknownCodesInWords(document->root());
}

TEST(CodeReport, TellsHowManyCodesOfOursHaveNoTargetAndWhichWhenAsked) {
  const auto map = codes::CodeMap::LoadBundled(codes::CodeMap::Edition::kFree);
  ASSERT_TRUE(map.has_value());
  std::size_t without = 0;
  for (const auto& own : map->OwnCodes()) without += own.what->mapped ? 0 : 1;
  const std::string brief = OwnCodesInWords(*map, false);
  EXPECT_THAT(brief, testing::StartsWith(std::to_string(without) + " of our " +
                                         std::to_string(map->OwnCodes().size()) + " codes"));
  EXPECT_THAT(brief, Not(HasSubstr("palpable-cord")));
  const std::string whole = OwnCodesInWords(*map, true);
  EXPECT_THAT(whole, HasSubstr("  sign palpable-cord: palpable venous cord\n"));
  EXPECT_THAT(whole, Not(HasSubstr("sign pain")));
  EXPECT_EQ(static_cast<std::size_t>(std::count(whole.begin(), whole.end(), '\n')), without + 1);
}

TEST(CodeReport, NoneSeenAndNotCountedAreNotTheSame) {
  EXPECT_THAT(Words(R"({"unknown_codes":[]})"), HasSubstr("none seen"));
  EXPECT_THAT(Words("{}"), HasSubstr("does not count"));
}

TEST(CodeReport, ListsUnknownCodesAndThoseThereWasNoRoomFor) {
  const std::string words = Words(R"({"unknown_codes":[
      {"group":"reason","code":"left-over","events":3,"first_seen":"2026-03-02T09:00:00Z",
       "last_seen":"2026-03-03T09:00:00Z"},
      {"events":7,"first_seen":"2026-03-02T09:00:00Z","last_seen":"2026-03-03T09:00:00Z"}]})");
  EXPECT_THAT(words, testing::ContainsRegex("reason +left-over +3 "));
  EXPECT_THAT(words, testing::ContainsRegex("further ones. +7 "));
}

TEST(CodeReport, ADaemonThatDoesNotAnswerIsNotAskedAndThatIsSaid) {
  EXPECT_THAT(AskUnknownCodes("/nowhere/store.socket"), HasSubstr("not asked"));
}

}  // namespace
}  // namespace dwell::command
