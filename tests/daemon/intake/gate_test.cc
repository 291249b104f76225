// The framing table: every row refuses what it is for, with the status it states. Cases after RFC
// 9112 sections 2.2, 3, 5, 6 and RFC 9110; those that Beast 1.81 would accept come first.
#include "daemon/intake/gate.h"

#include <gtest/gtest.h>

#include <string>

namespace dwell::intake {
namespace {

using std::string_literals::operator""s;

constexpr std::size_t kBodyMax = 1000;

struct Case {
  std::string head;
  int status;  ///< 0: accepted
  std::string rule;
};

const std::string kPost = "POST /events HTTP/1.1\r\nHost: a\r\n";

const Case kCases[] = {
    {kPost + "Transfer-Encoding: gzip\r\n\r\n", 400, "transfer-encoding"},
    {kPost + "Transfer-Encoding: identity\r\n\r\n", 400, "transfer-encoding"},
    {kPost + "Transfer-Encoding: xchunked\r\n\r\n", 400, "transfer-encoding"},
    {kPost + "Transfer-Encoding: chunked, chunked\r\n\r\n", 400, "transfer-encoding"},
    {kPost + "Transfer-Encoding: chunked\r\nTransfer-Encoding: chunked\r\n\r\n", 400,
     "transfer-encoding"},
    {kPost + "Transfer-Encoding: gzip\r\nContent-Length: 5\r\n\r\n", 400, "transfer-encoding"},
    {kPost + "Transfer-Encoding: chunked\r\nContent-Length: 5\r\n\r\n", 400, "two-framings"},
    {kPost + "Content-Length: 5\r\nContent-Length: 5\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: 5, 5\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: +5\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: -5\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: 0x5\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: 5 5\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length:\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: 99999999999999999999\r\n\r\n", 400, "content-length"},
    {kPost + "Content-Length: 1001\r\n\r\n", 413, "body-too-large"},
    {kPost + "X-Note: a\r\n b\r\nContent-Length: 5\r\n\r\n", 400, "folded-line"},
    {kPost + "X-Note: a\r\n\tb\r\nContent-Length: 5\r\n\r\n", 400, "folded-line"},
    {"POST /events HTTP/1.1\r\nContent-Length: 5\r\n\r\n", 400, "host"},
    {kPost + "Host: b\r\nContent-Length: 5\r\n\r\n", 400, "host"},
    {"POST /events HTTP/1.0\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n", 400,
     "transfer-encoding-version"},
    {kPost + "\r\n", 411, "length-missing"},
    {"GET /livez HTTP/1.1\nHost: a\n\n", 400, "line-end"},
    {"GET /livez HTTP/1.1\r\nHost: a\n\r\n", 400, "line-end"},
    {"GET /livez HTTP/1.1\r\nHost: a\rb\r\n\r\n", 400, "line-end"},
    {"GET /livez HTTP/1.1\r\nHost: a\0b\r\n\r\n"s, 400, "control-character"},
    {"GET /livez HTTP/1.1\r\nHost : a\r\n\r\n", 400, "field-name"},
    {"GET /livez HTTP/1.1\r\nHost: a\r\n: b\r\n\r\n", 400, "field-name"},
    {"GET /livez HTTP/1.1\r\nHost: a\r\nno colon\r\n\r\n", 400, "field-name"},
    {"GET /livez\r\nHost: a\r\n\r\n", 400, "request-line"},
    {"\r\n\r\n", 400, "request-line"},
    {"GE T /livez HTTP/1.1\r\nHost: a\r\n\r\n", 400, "version-form"},
    {"GET  /livez HTTP/1.1\r\nHost: a\r\n\r\n", 400, "version-form"},
    {"GET /livez HTTP/1.1 \r\nHost: a\r\n\r\n", 400, "version-form"},
    {"GET /livez HTTP/2.0\r\nHost: a\r\n\r\n", 505, "version"},
    {"GET http://a/livez HTTP/1.1\r\nHost: a\r\n\r\n", 400, "target"},
    {"GET * HTTP/1.1\r\nHost: a\r\n\r\n", 400, "target"},
    {"GET /a#b HTTP/1.1\r\nHost: a\r\n\r\n", 400, "target"},
    {"GET /\xC3\xA4 HTTP/1.1\r\nHost: a\r\n\r\n", 400, "target"},
    {kPost + "Content-Length: 5\r\nContent-Encoding: gzip\r\n\r\n", 415, "content-encoding"},
    {kPost + "Content-Length: 5\r\nExpect: 200-maybe\r\n\r\n", 417, "expectation"},
    {kPost + "X-Long: " + std::string(9000, 'x') + "\r\n\r\n", 431, "head-too-large"},
    {kPost + "Content-Length: 5\r\n\r\n", 0, ""},
    {kPost + "Transfer-Encoding: Chunked\r\n\r\n", 0, ""},
    {kPost + "Content-Length: 1000\r\nExpect: 100-Continue\r\n\r\n", 0, ""},
    {"GET /livez HTTP/1.1\r\nhost:a\r\n\r\n", 0, ""},
    {"GET /livez HTTP/1.0\r\nHost: a\r\n\r\n", 0, ""},
};

TEST(Gate, JudgesEveryHeadOfTheTable) {
  for (const Case& row : kCases) {
    GateHead head;
    const auto refusal = JudgeHead(row.head, kBodyMax, head);
    EXPECT_EQ(refusal ? refusal->status : 0, row.status) << row.head;
    EXPECT_EQ(refusal ? refusal->rule : "", row.rule) << row.head;
  }
}

TEST(Gate, RefusesMoreFieldsThanItCounts) {
  std::string bytes = kPost + "Content-Length: 5\r\n";
  for (int i = 0; i < 64; ++i) bytes += "A: b\r\n";
  GateHead head;
  const auto refusal = JudgeHead(bytes + "\r\n", kBodyMax, head);
  ASSERT_TRUE(refusal.has_value());
  EXPECT_EQ(refusal->status, 431);
}

TEST(Gate, HandsOnWhatTheBodyAndTheRouteNeed) {
  GateHead head;
  const std::string bytes = kPost +
                            "content-type: application/json \r\nContent-Length: 5\r\n"
                            "Expect: 100-continue\r\n\r\n";
  ASSERT_FALSE(JudgeHead(bytes, kBodyMax, head).has_value());
  EXPECT_EQ(head.method, "POST");
  EXPECT_EQ(head.target, "/events");
  EXPECT_EQ(head.content_type, "application/json");
  EXPECT_TRUE(head.continue_expected);
}

TEST(Gate, FindsTheEndOfTheHeadEvenIfItsLineEndsAreBare) {
  EXPECT_EQ(HeadSize("GET / HTTP/1.1\r\n\r\nrest"), 18U);
  EXPECT_EQ(HeadSize("GET / HTTP/1.1\n\nrest"), 16U);
  EXPECT_EQ(HeadSize("GET / HTTP/1.1\r\nHost: a\r\n"), std::nullopt);
}

}  // namespace
}  // namespace dwell::intake
