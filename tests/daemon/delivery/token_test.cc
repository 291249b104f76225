// Tokens and time, what a token endpoint's answer means, and clocks that differ: the pure parts.
#include <gmock/gmock.h>

#include "daemon/base/limits.h"
#include "daemon/delivery/clock_skew.h"
#include "daemon/delivery/token_answer.h"
#include "daemon/delivery/token_state.h"

namespace dwell::delivery {
namespace {

using std::chrono::seconds;
using Step = TokenState::Step;
using testing::HasSubstr;

constexpr TokenState::Time kStart{seconds(1'000'000)};

TEST(TokenState, ATokenIsUsedThenRenewedEarlyThenNoLongerUsed) {
  struct Row {
    int lifetime_s, renew_s, end_s;
  };
  // A fifth before its end, a minute at most; not in the last tenth, five seconds at most.
  for (const Row& row : {Row{300, 240, 295}, Row{3600, 3540, 3595}, Row{10, 8, 9}, Row{1, 1, 1}}) {
    TokenState state;
    EXPECT_EQ(state.Next(kStart), Step::kRenew) << "there is none yet";
    EXPECT_EQ(state.field(), "");
    state.Got("abc", seconds(row.lifetime_s), kStart);
    EXPECT_EQ(state.field(), "Authorization: Bearer abc\r\n");
    for (int s = 0; s <= row.lifetime_s + 1; ++s) {
      const Step expected = s < row.renew_s ? Step::kUse
                            : s < row.end_s ? Step::kUseRenew
                                            : Step::kRenew;
      EXPECT_EQ(state.Next(kStart + seconds(s)), expected) << row.lifetime_s << " at " << s;
    }
  }
}

TEST(TokenState, AFailureRestsTheIssuerButNotATokenThatStillServes) {
  TokenState state;
  state.Failed(kStart + seconds(30));
  EXPECT_EQ(state.Next(kStart + seconds(29)), Step::kRest);
  EXPECT_EQ(state.Next(kStart + seconds(30)), Step::kRenew);
  state.Got("abc", seconds(300), kStart);
  state.Failed(kStart + seconds(270));
  EXPECT_EQ(state.Next(kStart + seconds(250)), Step::kUse) << "used, and nobody is asked";
  EXPECT_EQ(state.Next(kStart + seconds(270)), Step::kUseRenew);
  state.Failed(kStart + seconds(400));
  EXPECT_EQ(state.Next(kStart + seconds(299)), Step::kRest);
  state.Got("def", seconds(300), kStart);
  EXPECT_EQ(state.Next(kStart), Step::kUse) << "success ends the rest";
}

TEST(TokenState, ARefusedTokenIsRenewedOnceForAllWhoUsedIt) {
  TokenState state;
  state.Got("abc", seconds(300), kStart);
  const std::uint64_t old = state.generation();
  EXPECT_TRUE(state.Refused(old));
  EXPECT_EQ(state.Next(kStart), Step::kRenew);
  EXPECT_TRUE(state.Refused(old)) << "another lane had it too";
  state.Got("def", seconds(300), kStart);
  EXPECT_TRUE(state.Refused(old)) << "a late lane: the new one is there";
  EXPECT_EQ(state.Next(kStart), Step::kUse) << "and is not thrown away for that";
  state.Accepted(old);
  EXPECT_FALSE(state.Refused(state.generation())) << "fresh, and refused as well: no third at once";
  EXPECT_FALSE(state.Refused(state.generation())) << "for every lane";
  state.Got("ghi", seconds(300), kStart);
  EXPECT_FALSE(state.Refused(state.generation()));
  state.Got("jkl", seconds(300), kStart);
  state.Accepted(state.generation());
  EXPECT_TRUE(state.Refused(state.generation())) << "it had served: it may be renewed again";
}

net::Exchange Answered(int status, std::string body,
                       std::string content_type = "application/json") {
  net::Exchange exchange;
  exchange.written = net::Written::kAll;
  exchange.status = status;
  exchange.body = std::move(body);
  exchange.content_type = std::move(content_type);
  return exchange;
}

TokenAnswer Judged(const net::Exchange& exchange) { return JudgeTokenAnswer(exchange, Instant{}); }

TEST(TokenAnswer, ATokenComesWithItsLife) {
  struct Row {
    const char* body;
    std::int64_t lifetime_s;
  };
  // The first is the example of RFC 6749 section 5.1, the second that of SMART's
  // example-backend-services.
  for (const Row& row :
       {Row{R"({"access_token":"2YotnFZFEjr1zCsicMWpAA","token_type":"example",)"
            R"("token_type2":"","expires_in":3600})",
            -1},
        Row{R"({"token_type":"Bearer","scope":"system/*.rs","expires_in":3600,"access_token":"a"})",
            3600},
        Row{R"({"token_type":"bearer","access_token":"a","expires_in":"300"})", 300},
        Row{R"({"token_type":"BEARER","access_token":"a"})", limits::kTokenLifeDefault.count()},
        Row{R"({"token_type":"bearer","access_token":"a","expires_in":null})", 60},
        Row{R"({"token_type":"bearer","access_token":"a","expires_in":1e9})", 1},
        Row{R"({"token_type":"bearer","access_token":"a","expires_in":99999999999999999999})",
            86'400},
        Row{R"({"token_type":"bearer","access_token":"a","expires_in":999999})", 86'400}}) {
    const TokenAnswer answer = Judged(Answered(200, row.body));
    if (row.lifetime_s < 0) {
      EXPECT_EQ(answer.course, TokenAnswer::Course::kRefused) << row.body;
      EXPECT_THAT(answer.why, HasSubstr("bearer"));
      continue;
    }
    EXPECT_EQ(answer.course, TokenAnswer::Course::kToken) << row.body << answer.why;
    EXPECT_EQ(answer.lifetime, seconds(row.lifetime_s)) << row.body;
    EXPECT_EQ(answer.token, "a");
  }
}

TEST(TokenAnswer, EverythingElseIsRefusedOrLater) {
  constexpr auto kRefused = TokenAnswer::Course::kRefused;
  constexpr auto kLater = TokenAnswer::Course::kLater;
  struct Row {
    net::Exchange exchange;
    TokenAnswer::Course course;
    const char* why;
  };
  net::Exchange unreached;
  unreached.failure = net::Failure::kConnect;
  unreached.error = "connection refused";
  const std::string html = "<!doctype html>";
  const std::vector<Row> rows = {
      {Answered(401, R"({"error":"invalid_client"})"), kRefused, "client_id"},
      {Answered(400, R"({"error":"invalid_client"})"), kRefused, "invalid_client"},
      {Answered(400, R"({"error":"invalid_scope","error_description":"Jane Doe"})"), kRefused,
       "scope"},
      {Answered(400, R"({"error":"invalid_grant"})"), kRefused, "invalid_grant"},
      {Answered(400, R"({"error":"invalid_request"})"), kRefused, "invalid_request"},
      {Answered(400, R"({"error":"unauthorized_client"})"), kRefused, "unauthorized_client"},
      {Answered(400, R"({"error":"unsupported_grant_type"})"), kRefused, "unsupported_grant"},
      {Answered(400, R"({"error":"temporarily_unavailable"})"), kLater, "unavailable"},
      {Answered(400, R"({"error":"made_up"})"), kRefused, "refused us"},
      {Answered(403, html, "text/html"), kRefused, "403"},
      {Answered(404, html, "text/html"), kRefused, "token_url"},
      {Answered(302, ""), kRefused, "redirects"},
      {Answered(408, ""), kLater, "408"},
      {Answered(429, ""), kLater, "too many"},
      {Answered(500, R"({"error":"invalid_client"})"), kLater, "failed"},
      {Answered(503, html, "text/html"), kLater, "503"},
      {Answered(201, R"({"token_type":"bearer","access_token":"a"})"), kLater, "201"},
      {Answered(200, html, "text/html"), kLater, "JSON"},
      {Answered(200, R"({"token_type":"bearer","access_token":"a"})", "text/html"), kLater, "JSON"},
      {Answered(200, "[]"), kLater, "JSON"},
      {Answered(200, R"({"token_type":"bearer")"), kLater, "JSON"},
      {Answered(200, R"({"token_type":"mac","access_token":"a"})"), kRefused, "bearer"},
      {Answered(200, R"({"access_token":"a"})"), kRefused, "bearer"},
      {Answered(200, R"({"token_type":"bearer"})"), kLater, "without a token"},
      {Answered(200, R"({"token_type":"bearer","access_token":"a\r\nX: y"})"), kLater, "fits"},
      {Answered(200, R"({"token_type":"bearer","access_token":""})"), kLater, "fits"},
      {Answered(200, R"({"token_type":"bearer","access_token":"a","expires_in":0})"), kLater,
       "expired"},
      {Answered(200, R"({"token_type":"bearer","access_token":"a","expires_in":-5})"), kLater,
       "expired"},
      {Answered(200, R"({"token_type":"bearer","access_token":"a","x":")" +
                         std::string(limits::kTokenAnswerBytesMax, 'x') + "\"}"),
       kLater, "more than"},
      {unreached, kLater, "connection refused"},
  };
  for (const Row& row : rows) {
    const TokenAnswer answer = Judged(row.exchange);
    EXPECT_EQ(answer.course, row.course) << row.exchange.status << row.exchange.body;
    EXPECT_THAT(answer.why, HasSubstr(row.why));
    EXPECT_THAT(answer.why, testing::Not(HasSubstr("Jane"))) << "nothing that the peer wrote";
    EXPECT_EQ(answer.token, "");
  }
}

TEST(TokenAnswer, TheWaitThatWasAskedForIsKept) {
  net::Exchange busy = Answered(503, "");
  busy.retry_after = "120";
  EXPECT_EQ(Judged(busy).retry_after, seconds(120));
}

TEST(ClockSkew, IsToldWhenItBeginsChangesAndEnds) {
  // RFC 9110 section 5.6.7 gives this date; 784111777 is its Unix time.
  const char* const date = "Sun, 06 Nov 1994 08:49:37 GMT";
  const auto at = [](int ahead_s) { return Instant(seconds(784'111'777 + ahead_s)); };
  ClockSkew skew;
  EXPECT_FALSE(skew.Look(date, at(60)));
  EXPECT_EQ(skew.trouble(), std::nullopt);
  EXPECT_EQ(skew.ahead(), seconds(60));
  EXPECT_TRUE(skew.Look(date, at(61)));
  EXPECT_EQ(skew.trouble(), seconds(61));
  EXPECT_FALSE(skew.Look(date, at(100))) << "about the same";
  EXPECT_TRUE(skew.Look(date, at(-90)));
  EXPECT_EQ(skew.trouble(), seconds(-90));
  EXPECT_FALSE(skew.Look("yesterday", at(500)));
  EXPECT_FALSE(skew.Look("", at(500)));
  EXPECT_EQ(skew.trouble(), seconds(-90)) << "no date says nothing";
  EXPECT_TRUE(skew.Look(date, at(0))) << "they agree again";
  EXPECT_EQ(skew.trouble(), std::nullopt);
}

}  // namespace
}  // namespace dwell::delivery
