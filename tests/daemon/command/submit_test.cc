// What `dwell submit` says of the daemon's answers.
#include "daemon/command/submit.h"

#include <gtest/gtest.h>

#include <string>

namespace dwell::command {
namespace {

std::string Words(const std::string& answer) {
  const auto document = schemas::Document::Parse(answer);
  return document ? AnswerInWords(document->root(), 7) : "no JSON";
}

TEST(Submit, SaysWhetherAnEventWasStored) {
  EXPECT_EQ(Words(R"({"line":1,"status":201,"source":"w","id":"e1"})"), "line 7: stored e1");
  EXPECT_EQ(Words(R"({"line":1,"status":200,"source":"w","id":"e1"})"), "line 7: stored before e1");
}

const std::string kOutcome = R"("outcome":{"resourceType":"OperationOutcome","issue":[
    {"severity":"warning","code":"value","details":{"coding":[{"code":"check-digit"}],
     "text":"a right number"},"expression":["/patient/value"]}]}})";

TEST(Submit, PrintsAWarningBelowAnEventThatWasStored) {
  EXPECT_EQ(Words(R"({"line":1,"status":201,"id":"e1",)" + kOutcome),
            "line 7: stored e1, with a warning\n    /patient/value: a right number (check-digit)");
  EXPECT_EQ(
      Words(R"({"line":1,"status":200,"id":"e1",)" + kOutcome),
      "line 7: stored before e1, with a warning\n    /patient/value: a right number (check-digit)");
}

TEST(Submit, PrintsTheReasonsOfARefusal) {
  EXPECT_EQ(Words(R"({"line":1,"status":422,)" + kOutcome),
            "line 7: refused, 422\n    /patient/value: a right number (check-digit)");
}

}  // namespace
}  // namespace dwell::command
