// What the answers to a read mean.
#include "daemon/reconcile/read_back.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::reconcile {
namespace {

using Course = ReadBack::Course;

const Instant kNow = ReadMoment("2026-03-27T09:00:00Z")->instant;
constexpr const char* kDevice = R"({"resourceType":"Device","id":"d1","meta":{"lastUpdated":)"
                                R"("2026-03-27T08:00:00.000Z"}})";
constexpr const char* kOutcome = R"({"resourceType":"OperationOutcome","issue":[]})";

net::Exchange Answer(int status, const std::string& body = "",
                     const std::string& content_type = "application/fhir+json") {
  net::Exchange exchange;
  exchange.written = net::Written::kAll;
  exchange.status = status;
  exchange.content_type = content_type;
  exchange.body = body;
  return exchange;
}

struct Case {
  const char* what;
  net::Exchange exchange;
  Course course;
};
void PrintTo(const Case& row, std::ostream* out) { *out << row.what; }

class Reading : public testing::TestWithParam<Case> {};

TEST_P(Reading, MeansWhatTheTableSays) {
  const ReadBack back = JudgeRead(GetParam().exchange, "Device", "d1", kNow);
  EXPECT_EQ(back.course, GetParam().course);
  EXPECT_EQ(back.resource.has_value(), back.course == Course::kHeld);
  EXPECT_EQ(back.why.empty(), back.course == Course::kHeld);
}

net::Exchange Failed(net::Failure failure) {
  net::Exchange exchange;
  exchange.failure = failure;
  exchange.error = "in words";
  return exchange;
}

// RFC 9110 section 15; FHIR R4 http.html#read: 404 for what is not known, 410 for what was deleted.
INSTANTIATE_TEST_SUITE_P(
    Rows, Reading,
    testing::Values(Case{"held", Answer(200, kDevice), Course::kHeld},
                    Case{"another resource", Answer(200, R"({"resourceType":"Device","id":"d2"})"),
                         Course::kUnreadable},
                    Case{"another type", Answer(200, R"({"resourceType":"Task","id":"d1"})"),
                         Course::kUnreadable},
                    Case{"a sign-in page", Answer(200, "<p>", "text/html"), Course::kAgain},
                    Case{"cut off", Answer(200, R"({"resourceType":"Dev)"), Course::kAgain},
                    Case{"empty", Answer(200), Course::kAgain},
                    Case{"deleted", Answer(410), Course::kMissing},
                    Case{"not known", Answer(404, kOutcome), Course::kMissing},
                    Case{"a page says not found", Answer(404, "<p>", "text/html"),
                         Course::kUnreadable},
                    Case{"nobody says not found", Answer(404), Course::kUnreadable},
                    Case{"no credentials", Answer(401, kOutcome), Course::kPause},
                    Case{"forbidden", Answer(403, kOutcome), Course::kUnreadable},
                    Case{"redirected", Answer(302), Course::kUnreadable},
                    Case{"too many", Answer(429), Course::kPause},
                    Case{"unavailable", Answer(503), Course::kPause},
                    Case{"failed", Answer(500, kOutcome), Course::kAgain},
                    Case{"behind its gateway", Answer(504), Course::kAgain},
                    Case{"no status", Answer(42), Course::kUnreadable},
                    Case{"not reached", Failed(net::Failure::kConnect), Course::kPause},
                    Case{"certificate", Failed(net::Failure::kTls), Course::kPause},
                    Case{"timed out", Failed(net::Failure::kTimeOut), Course::kAgain},
                    Case{"broken", Failed(net::Failure::kBroken), Course::kAgain},
                    Case{"too large", Failed(net::Failure::kTooLarge), Course::kUnreadable}));

// FHIR R4 search.html and bundle.html#searchset.
TEST(ReadBack, ASearchProvesOnlyWhatItsResultSays) {
  const std::string search = "Device?identifier=urn%3Aa%7C1";
  const auto result = [](const std::string& entries, const char* more = "") {
    return Answer(200, R"({"resourceType":"Bundle","type":"searchset")" + std::string(more) +
                           R"(,"entry":[)" + entries + "]}");
  };
  const std::string ours =
      R"({"resource":{"resourceType":"Device","id":"17","status":"entered-in-error",)"
      R"("identifier":[{"system":"urn:a","value":"1"}]}})";
  const std::string another = R"({"resource":{"resourceType":"Device","id":"18"}})";
  const std::vector<Case> rows = {
      {"one, whatever became of it", result(ours), Course::kHeld},
      {"none", result(""), Course::kMissing},
      {"two", result(ours + "," + ours), Course::kSeveral},
      {"more on another page", result(ours, R"(,"link":[{"relation":"next"}])"), Course::kSeveral},
      {"one without the identifier", result(another), Course::kUnreadable},
      {"a total that says otherwise", result("", R"(,"total":1)"), Course::kUnreadable},
      {"no search result", Answer(200, kDevice), Course::kUnreadable},
      {"a sign-in page", Answer(200, "<p>", "text/html"), Course::kAgain},
      {"not found is no result", Answer(404, kOutcome), Course::kUnreadable},
      {"gone is no result", Answer(410), Course::kUnreadable},
      {"forbidden", Answer(403, kOutcome), Course::kUnreadable},
      {"unavailable", Answer(503), Course::kPause},
      {"broken", Failed(net::Failure::kBroken), Course::kAgain},
  };
  for (const Case& row : rows) {
    const ReadBack back = JudgeFind(row.exchange, search, kNow);
    EXPECT_EQ(back.course, row.course) << row.what;
    EXPECT_EQ(back.resource.has_value(), back.course == Course::kHeld) << row.what;
    EXPECT_EQ(back.why.empty(), back.course == Course::kHeld) << row.what;
  }
  const std::string tagged =
      R"({"resource":{"resourceType":"Provenance","id":"1","meta":{"tag":[{"system":"urn:a",)"
      R"("code":"1"}]}}})";
  EXPECT_EQ(JudgeFind(result(tagged), "Provenance?_tag=urn%3Aa%7C1", kNow).course, Course::kHeld);
  EXPECT_EQ(JudgeFind(result(tagged), "Provenance?_tag=urn%3Aa%7C2", kNow).course,
            Course::kUnreadable);
}

TEST(ReadBack, WhenItWasChangedIsToldOnOurClockHoweverWrongTheEndpointsIs) {
  net::Exchange exchange = Answer(200, kDevice);
  EXPECT_FALSE(JudgeRead(exchange, "Device", "d1", kNow).changed_at.has_value());
  exchange.date = "Fri, 27 Mar 2026 08:10:00 GMT";  // ten minutes after the change, and 50 slow
  EXPECT_EQ(JudgeRead(exchange, "Device", "d1", kNow).changed_at, kNow - std::chrono::minutes(10));
}

TEST(ReadBack, HowLongTheEndpointAsksToWaitIsKept) {
  net::Exchange exchange = Answer(503);
  exchange.retry_after = "7";
  EXPECT_EQ(JudgeRead(exchange, "Device", "d1", kNow).retry_after, std::chrono::seconds(7));
}

}  // namespace
}  // namespace dwell::reconcile
