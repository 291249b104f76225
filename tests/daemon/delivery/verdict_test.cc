// One table of everything an endpoint, or what stands before it, may do. Pain: the error was HTML
// or said 200; no answer was taken for "not done"; one bad message stopped the house.
#include "daemon/delivery/verdict.h"

#include <gmock/gmock.h>

#include "daemon/base/limits.h"
#include "daemon/delivery/bundle_shape.h"

namespace dwell::delivery {
namespace {

using net::Exchange;
using net::Failure;
using net::Written;
using std::chrono::seconds;
using testing::HasSubstr;

constexpr Instant kNow{std::chrono::hours(492'800)};
constexpr const char* kFhir = "application/fhir+json; charset=utf-8";
constexpr const char* kOutcome =
    R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"invalid"}]})";
constexpr const char* kPage = "<!doctype html><p>Sign in";

std::string Response(const std::vector<std::string>& statuses, const char* type) {
  std::string body = std::string(R"({"resourceType":"Bundle","type":")") + type + R"(","entry":[)";
  for (const std::string& status : statuses) {
    if (body.back() == '}') body += ',';
    body += R"({"response":{"status":")" + status + R"("}})";
  }
  return body + "]}";
}

Exchange Answered(int status, const char* content_type, std::string body) {
  Exchange exchange;
  exchange.written = Written::kAll;
  exchange.status = status;
  exchange.content_type = content_type;
  exchange.body = std::move(body);
  return exchange;
}

const Sent kTwo{.entries = 2, .attempts = 0};

TEST(Verdict, DoneOnlyWhenStatusTypeAndShapeAgree) {
  const std::string good = Response({"201 Created", "200 OK"}, "transaction-response");
  struct Row {
    const char* name;
    int status;
    const char* type;
    std::string body;
    Course course;
    bool uncertain;
  };
  const std::vector<Row> rows = {
      {"good", 200, kFhir, good, Course::kDone, false},
      {"plain JSON type", 200, "Application/JSON ;x=y", good, Course::kDone, false},
      {"bare status", 200, kFhir, Response({"200", "201"}, "transaction-response"), Course::kDone,
       false},
      {"sign-in page", 200, "text/html", kPage, Course::kAgain, true},
      {"page called JSON", 200, kFhir, kPage, Course::kAgain, true},
      {"right body, wrong type", 200, "text/plain", good, Course::kAgain, true},
      {"no type", 200, "", good, Course::kAgain, true},
      {"XML type", 200, "application/fhir+xml", good, Course::kAgain, true},
      {"empty", 200, kFhir, "", Course::kAgain, true},
      {"truncated", 200, kFhir, good.substr(0, good.size() - 2), Course::kAgain, true},
      {"one entry short", 200, kFhir, Response({"201"}, "transaction-response"), Course::kHold,
       true},
      {"one too many", 200, kFhir, Response({"200", "200", "200"}, "transaction-response"),
       Course::kHold, true},
      {"batch", 200, kFhir, Response({"200", "200"}, "batch-response"), Course::kHold, true},
      {"another resource", 200, kFhir, kOutcome, Course::kHold, true},
      {"an array", 200, kFhir, "[]", Course::kHold, true},
      {"no status inside", 200, kFhir, Response({"", "200"}, "transaction-response"), Course::kHold,
       true},
      {"silly status inside", 200, kFhir, Response({"2000", "200"}, "transaction-response"),
       Course::kHold, true},
      {"refused entry", 200, kFhir, Response({"201", "422 No"}, "transaction-response"),
       Course::kHold, false},
      {"entry to repeat", 200, kFhir, Response({"201", "503"}, "transaction-response"),
       Course::kAgain, false},
      {"created", 201, kFhir, good, Course::kHold, true},
      {"accepted", 202, kFhir, good, Course::kHold, true},
      {"no content", 204, "", "", Course::kHold, true},
  };
  for (const Row& row : rows) {
    const Verdict verdict = Judge(Answered(row.status, row.type, row.body), kTwo, kNow);
    EXPECT_EQ(verdict.course, row.course) << row.name;
    EXPECT_EQ(verdict.uncertain, row.uncertain) << row.name;
    EXPECT_FALSE(verdict.pauses) << row.name;
    EXPECT_EQ(verdict.why.empty(), row.course == Course::kDone) << row.name;
  }
}

TEST(Verdict, EveryStatusHasItsCourseWithAndWithoutOutcome) {
  struct Row {
    int status;
    Course with_outcome, with_page;
    bool uncertain;
  };
  const std::vector<Row> rows = {
      {101, Course::kPause, Course::kPause, true},  {301, Course::kPause, Course::kPause, false},
      {302, Course::kPause, Course::kPause, false}, {307, Course::kPause, Course::kPause, false},
      {308, Course::kPause, Course::kPause, false}, {400, Course::kHold, Course::kHold, false},
      {401, Course::kPause, Course::kPause, false}, {402, Course::kHold, Course::kHold, false},
      {403, Course::kHold, Course::kPause, false},  {404, Course::kAgain, Course::kPause, false},
      {405, Course::kPause, Course::kPause, false}, {406, Course::kPause, Course::kPause, false},
      {407, Course::kPause, Course::kPause, false}, {408, Course::kAgain, Course::kAgain, true},
      {409, Course::kAgain, Course::kAgain, false}, {410, Course::kHold, Course::kPause, false},
      {411, Course::kHold, Course::kHold, false},   {412, Course::kAgain, Course::kAgain, false},
      {413, Course::kHold, Course::kHold, false},   {414, Course::kHold, Course::kHold, false},
      {415, Course::kPause, Course::kPause, false}, {417, Course::kHold, Course::kHold, false},
      {421, Course::kPause, Course::kPause, false}, {422, Course::kHold, Course::kHold, false},
      {423, Course::kAgain, Course::kAgain, false}, {424, Course::kAgain, Course::kAgain, false},
      {425, Course::kAgain, Course::kAgain, false}, {426, Course::kHold, Course::kHold, false},
      {428, Course::kHold, Course::kHold, false},   {429, Course::kAgain, Course::kAgain, false},
      {431, Course::kPause, Course::kPause, false}, {451, Course::kHold, Course::kHold, false},
      {500, Course::kAgain, Course::kAgain, false}, {501, Course::kPause, Course::kPause, false},
      {502, Course::kAgain, Course::kAgain, true},  {503, Course::kAgain, Course::kAgain, false},
      {504, Course::kAgain, Course::kAgain, true},  {505, Course::kPause, Course::kPause, false},
      {507, Course::kAgain, Course::kAgain, false}, {508, Course::kAgain, Course::kAgain, false},
      {511, Course::kPause, Course::kPause, false}, {599, Course::kAgain, Course::kAgain, false},
      {666, Course::kHold, Course::kHold, true},
  };
  for (const Row& row : rows) {
    const Verdict spoken = Judge(Answered(row.status, kFhir, kOutcome), kTwo, kNow);
    const Verdict page = Judge(Answered(row.status, "text/html", kPage), kTwo, kNow);
    EXPECT_EQ(spoken.course, row.with_outcome) << row.status;
    EXPECT_EQ(page.course, row.with_page) << row.status;
    EXPECT_EQ(spoken.uncertain, row.uncertain) << row.status;
    EXPECT_EQ(page.uncertain, row.uncertain) << row.status;
    EXPECT_EQ(spoken.pauses, row.with_outcome == Course::kPause) << row.status;
    EXPECT_THAT(page.why, HasSubstr(std::to_string(row.status)));
    EXPECT_THAT(page.why, testing::Not(HasSubstr("Sign in"))) << "the peer's words stay out of why";
  }
}

TEST(Verdict, NoAnswerAfterSendIsUncertainNotFailed) {
  for (const Failure failure :
       {Failure::kTimeOut, Failure::kBroken, Failure::kGarbage, Failure::kTooLarge}) {
    for (const Written written : {Written::kSome, Written::kAll}) {
      Exchange exchange;
      exchange.failure = failure;
      exchange.written = written;
      exchange.error = "in words";
      const Verdict verdict = Judge(exchange, kTwo, kNow);
      EXPECT_EQ(verdict.course, Course::kAgain);
      EXPECT_TRUE(verdict.uncertain);
      EXPECT_EQ(verdict.why, "in words");
    }
  }
}

TEST(Verdict, ACompleteHeadWithACutBodyIsNoAnswer) {
  Exchange exchange = Answered(422, kFhir, R"({"resourceType":)");
  exchange.failure = Failure::kBroken;
  EXPECT_EQ(Judge(exchange, kTwo, kNow).course, Course::kAgain);
}

TEST(Verdict, WhatWasNeverSeenPausesWithoutCounting) {
  for (const Failure failure : {Failure::kConnect, Failure::kTls, Failure::kBroken}) {
    Exchange exchange;
    exchange.failure = failure;
    exchange.error = "no connection";
    const Verdict verdict = Judge(exchange, kTwo, kNow);
    EXPECT_EQ(verdict.course, Course::kPause);
    EXPECT_TRUE(verdict.untouched);
    EXPECT_TRUE(verdict.pauses);
    EXPECT_FALSE(verdict.uncertain);
  }
}

TEST(Verdict, RetryAfterOfABusyEndpointIsForEveryone) {
  for (const int status : {429, 503}) {
    Exchange exchange = Answered(status, "text/html", kPage);
    exchange.retry_after = "7";
    const Verdict verdict = Judge(exchange, kTwo, kNow);
    EXPECT_EQ(verdict.retry_after, seconds(7));
    EXPECT_TRUE(verdict.pauses);
    exchange.retry_after = "7s";
    EXPECT_EQ(Judge(exchange, kTwo, kNow).retry_after, std::nullopt);
    EXPECT_FALSE(Judge(exchange, kTwo, kNow).pauses);
  }
  Exchange conflict = Answered(409, kFhir, kOutcome);
  conflict.retry_after = "7";
  EXPECT_EQ(Judge(conflict, kTwo, kNow).retry_after, seconds(7));
  EXPECT_FALSE(Judge(conflict, kTwo, kNow).pauses);
}

TEST(Verdict, ConflictsAndFaultsAreHeldAfterABoundedNumber) {
  const std::vector<std::pair<int, std::uint32_t>> limits = {{404, 20}, {409, 8}, {412, 8},
                                                             {423, 8},  {424, 8}, {500, 20}};
  for (const auto& [status, most] : limits) {
    const Exchange exchange = Answered(status, kFhir, kOutcome);
    Sent sent = kTwo;
    sent.attempts = most - 2;
    EXPECT_EQ(Judge(exchange, sent, kNow).course, Course::kAgain) << status;
    sent.attempts = most - 1;
    const Verdict last = Judge(exchange, sent, kNow);
    EXPECT_EQ(last.course, Course::kHold) << status;
    EXPECT_EQ(last.outcome, kOutcome);
  }
  Sent many = kTwo;
  many.attempts = 1'000'000;
  for (const int status : {408, 429, 502, 503, 504}) {
    EXPECT_EQ(Judge(Answered(status, kFhir, kOutcome), many, kNow).course, Course::kAgain);
  }
}

std::string OutcomeOf(const std::vector<std::pair<const char*, const char*>>& issues) {
  std::string body = R"({"resourceType":"OperationOutcome","issue":[)";
  for (const auto& [severity, code] : issues) {
    if (body.back() == '}') body += ',';
    body += std::string(R"({"severity":")") + severity + R"(","code":")" + code + R"("})";
  }
  return body + "]}";
}

// FHIR R4 valueset-issue-type.html.
TEST(Verdict, TheCodeOfAnOutcomeMaySayMoreThanTheStatus) {
  struct Row {
    int status;
    const char* code;
    Course course;
    bool too_large, uncertain;
    int as_status;
  };
  const std::vector<Row> rows = {
      {400, "too-costly", Course::kHold, true, false, 400},
      {422, "too-long", Course::kHold, true, false, 422},
      {500, "too-costly", Course::kHold, true, false, 500},
      {503, "too-costly", Course::kAgain, false, false, 503},
      {429, "too-costly", Course::kAgain, false, false, 429},
      {413, "processing", Course::kHold, true, false, 413},
      {400, "not-found", Course::kWait, false, false, 400},
      {404, "not-found", Course::kWait, false, false, 404},
      {409, "not-found", Course::kWait, false, false, 409},
      {412, "not-found", Course::kWait, false, false, 412},
      {422, "not-found", Course::kWait, false, false, 422},
      {500, "not-found", Course::kAgain, false, false, 500},
      {400, "login", Course::kPause, false, false, 401},
      {403, "expired", Course::kPause, false, false, 401},
      {422, "lock-error", Course::kAgain, false, false, 422},
      {400, "transient", Course::kAgain, false, false, 400},
      {400, "timeout", Course::kAgain, false, false, 400},
      {422, "exception", Course::kHold, false, false, 422},
      {422, "duplicate", Course::kHold, false, true, 422},
      {409, "duplicate", Course::kAgain, false, true, 409},
      {422, "a new code", Course::kHold, false, false, 422},
  };
  for (const Row& row : rows) {
    const std::string body = OutcomeOf({{"error", row.code}});
    const Verdict verdict = Judge(Answered(row.status, kFhir, body), kTwo, kNow);
    EXPECT_EQ(verdict.course, row.course) << row.status << row.code;
    EXPECT_EQ(verdict.too_large, row.too_large) << row.status << row.code;
    EXPECT_EQ(verdict.uncertain, row.uncertain) << row.status << row.code;
    EXPECT_EQ(verdict.status, row.as_status) << row.status << row.code;
  }
}

TEST(Verdict, OfSeveralIssuesTheOneThatNothingMendsCounts) {
  struct Row {
    std::vector<std::pair<const char*, const char*>> issues;
    Course course;
  };
  const std::vector<Row> rows = {
      {{{"error", "not-found"}, {"error", "not-found"}}, Course::kWait},
      {{{"error", "not-found"}, {"fatal", "invalid"}}, Course::kHold},
      {{{"error", "invalid"}, {"error", "not-found"}}, Course::kHold},
      {{{"information", "informational"}, {"error", "not-found"}}, Course::kWait},
      {{{"warning", "invalid"}, {"error", "not-found"}}, Course::kWait},
      {{{"warning", "not-found"}}, Course::kWait},
      {{}, Course::kHold},
  };
  for (const Row& row : rows) {
    const std::string body = OutcomeOf(row.issues);
    EXPECT_EQ(Judge(Answered(422, kFhir, body), kTwo, kNow).course, row.course) << body;
  }
}

TEST(Verdict, AMissingTargetIsWaitedForAndNotForEver) {
  const Exchange exchange = Answered(409, kFhir, OutcomeOf({{"error", "not-found"}}));
  Sent sent = kTwo;
  sent.attempts = 1'000;
  sent.age = limits::kUnknownTargetTimeMax - seconds(1);
  EXPECT_EQ(Judge(exchange, sent, kNow).course, Course::kWait);
  sent.age = limits::kUnknownTargetTimeMax;
  const Verdict last = Judge(exchange, sent, kNow);
  EXPECT_EQ(last.course, Course::kHold);
  EXPECT_THAT(last.why, HasSubstr("waited for long enough"));
}

TEST(Verdict, ASingleResourceIsDoneOnlyWhenTheServerShowsIt) {
  struct Row {
    const char* name;
    int status;
    const char* type;
    std::string body;
    const char* etag;
    Course course;
    bool uncertain;
  };
  const std::string task = R"({"resourceType":"Task","id":"1"})";
  const std::vector<Row> rows = {
      {"the resource", 200, kFhir, task, "", Course::kDone, false},
      {"created", 201, kFhir, task, "W/1", Course::kDone, false},
      {"bare with a version", 200, "", "", "W/1", Course::kDone, false},
      {"no content with a version", 204, "", "", "W/1", Course::kDone, false},
      {"notes with a version", 200, kFhir, kOutcome, "W/1", Course::kDone, false},
      {"bare", 200, "", "", "", Course::kAgain, true},
      {"sign-in page", 200, "text/html", kPage, "", Course::kAgain, true},
      {"page with a version", 200, "text/html", kPage, "W/1", Course::kAgain, true},
      {"half", 200, kFhir, task.substr(3), "", Course::kAgain, true},
      {"an error in a 200", 200, kFhir, kOutcome, "", Course::kHold, true},
      {"another resource", 200, kFhir, R"({"resourceType":"Patient"})", "", Course::kHold, true},
      {"accepted", 202, "", "", "", Course::kHold, true},
      {"refused", 422, kFhir, kOutcome, "", Course::kHold, false},
      {"not this type", 405, kFhir, kOutcome, "", Course::kHold, false},
      {"not at this door", 405, "text/html", kPage, "", Course::kPause, false},
      {"not this type either", 501, kFhir, kOutcome, "", Course::kHold, false},
      {"who are you", 401, kFhir, kOutcome, "", Course::kPause, false},
      {"busy", 503, kFhir, kOutcome, "", Course::kAgain, false},
  };
  for (const Row& row : rows) {
    Exchange exchange = Answered(row.status, row.type, row.body);
    exchange.etag = row.etag;
    const Verdict verdict = JudgeSingle(exchange, "Task", kTwo, kNow);
    EXPECT_EQ(verdict.course, row.course) << row.name;
    EXPECT_EQ(verdict.uncertain, row.uncertain) << row.name;
  }
  Sent often = kTwo;
  often.attempts = limits::kFaultAttemptsMax - 1;
  const Verdict last = JudgeSingle(Answered(200, "", ""), "Task", often, kNow);
  EXPECT_EQ(last.course, Course::kHold) << "never shown in any way: a person must look";
  EXPECT_TRUE(last.uncertain);
}

TEST(Verdict, ARefusalKeepsTheOutcomeWholeAndAPageShort) {
  EXPECT_EQ(Judge(Answered(422, kFhir, kOutcome), kTwo, kNow).outcome, kOutcome);
  const Verdict page = Judge(Answered(400, "text/html", std::string(5000, 'x')), kTwo, kNow);
  EXPECT_EQ(page.outcome.size(), 200U);
  const std::string large = R"({"resourceType":"OperationOutcome","issue":[{"diagnostics":")" +
                            std::string(9000, 'y') + R"("}]})";
  EXPECT_EQ(Judge(Answered(422, kFhir, large), kTwo, kNow).outcome.size(),
            limits::kOutcomeBytesMax);
}

TEST(Verdict, ExcerptsAreCutBetweenCharactersAndHoldNoControls) {
  EXPECT_EQ(Excerpt("a\r\nb\x1b[31m", 100), "a  b [31m");
  EXPECT_EQ(Excerpt("a\xC3\xA9z", 2), "a");
  EXPECT_EQ(Excerpt("a\xC3\xA9z", 3), "a\xC3\xA9");
  EXPECT_EQ(Excerpt("\xF0\x9F\x98\x80", 3), "");
}

}  // namespace
}  // namespace dwell::delivery
