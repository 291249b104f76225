// HTTP dates and Retry-After. Pain: a Retry-After written as a date was ignored or crashed the
// client, which then came back before the time the server had named.
#include <gmock/gmock.h>

#include "daemon/base/limits.h"
#include "daemon/delivery/http_date.h"
#include "daemon/delivery/retry_after.h"

namespace dwell::delivery {
namespace {

using std::chrono::seconds;

Instant At(std::string_view text) { return ReadMoment(text)->instant; }

const Instant kNow = At("2026-03-27T09:00:00Z");

TEST(HttpDate, TheThreeFormsOfOneInstantAreRead) {
  // The example of RFC 9110 section 5.6.7, in its three forms.
  const Instant expected = At("1994-11-06T08:49:37Z");
  EXPECT_EQ(ReadHttpDate("Sun, 06 Nov 1994 08:49:37 GMT", kNow), expected);
  EXPECT_EQ(ReadHttpDate("Sunday, 06-Nov-94 08:49:37 GMT", kNow), expected);
  EXPECT_EQ(ReadHttpDate("Sun Nov  6 08:49:37 1994", kNow), expected);
  EXPECT_EQ(ReadHttpDate("Wed Nov 16 08:49:37 1994", kNow), At("1994-11-16T08:49:37Z"));
}

TEST(HttpDate, AShortYearMoreThanFiftyYearsAheadIsInThePast) {
  EXPECT_EQ(ReadHttpDate("Sunday, 06-Nov-76 08:49:37 GMT", kNow), At("2076-11-06T08:49:37Z"));
  EXPECT_EQ(ReadHttpDate("Sunday, 06-Nov-77 08:49:37 GMT", kNow), At("1977-11-06T08:49:37Z"));
}

TEST(HttpDate, WhatIsNoDateIsEmpty) {
  for (const char* text :
       {"", "soon", "Sun, 06 Nov 1994 08:49:37", "Sun, 06 Nov 1994 08:49:37 UTC",
        "Sun, 6 Nov 1994 08:49:37 GMT", "Sun, 31 Feb 1994 08:49:37 GMT",
        "Sun, 06 Nov 1994 24:00:00 GMT", "Sun, 06 Nov 1994 08:60:00 GMT",
        "Sun, 06 Nov 1994 08:49:37 GMT ", "1994-11-06T08:49:37Z", "Son, 06 Nov 1994 08:49:37 GMT",
        "Sun, 00 Nov 1994 08:49:37 GMT", "Sunday, 06-Nov-1994 08:49:37 GMT"}) {
    EXPECT_EQ(ReadHttpDate(text, kNow), std::nullopt) << text;
  }
}

struct RetryCase {
  const char* text;
  const char* date;
  std::optional<int> wait_s;
};

TEST(RetryAfter, EveryFormHasItsReading) {
  constexpr int kDay = 86'400;
  const std::vector<RetryCase> cases = {
      {"0", "", 0},
      {"3", "", 3},
      {"120", "Fri, 27 Mar 2026 05:00:00 GMT", 120},  // seconds do not care about clocks
      {"31536000", "", kDay},                         // a year is cut
      {"99999999999999999999999999", "", kDay},       // and what overflows, too
      {"Fri, 27 Mar 2026 09:00:10 GMT", "", 10},
      {"Friday, 27-Mar-26 09:00:10 GMT", "", 10},
      {"Fri Mar 27 09:00:10 2026", "", 10},
      {"Fri, 27 Mar 2026 08:00:00 GMT", "", 0},  // past
      {"Sat, 27 Mar 2027 09:00:00 GMT", "", kDay},
      // The peer's clock is an hour ahead of ours: its own Date tells.
      {"Fri, 27 Mar 2026 10:00:30 GMT", "Fri, 27 Mar 2026 10:00:00 GMT", 30},
      // An hour behind.
      {"Fri, 27 Mar 2026 08:00:30 GMT", "Fri, 27 Mar 2026 08:00:00 GMT", 30},
      {"Fri, 27 Mar 2026 09:00:10 GMT", "yesterday", 10},
      {"", "", std::nullopt},
      {"30s", "", std::nullopt},
      {"-1", "", std::nullopt},
      {"1.5", "", std::nullopt},
      {"0x10", "", std::nullopt},
      {"later", "", std::nullopt},
  };
  for (const RetryCase& row : cases) {
    const auto wait = ReadRetryAfter(row.text, row.date, kNow);
    EXPECT_EQ(wait.has_value(), row.wait_s.has_value()) << row.text;
    EXPECT_EQ(wait.value_or(seconds(-1)), seconds(row.wait_s.value_or(-1))) << row.text;
  }
}

}  // namespace
}  // namespace dwell::delivery
