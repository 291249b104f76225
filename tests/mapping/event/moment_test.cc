// Instants: RFC 3339 in, UTC line inside, the sender's own text kept.
#include "mapping/event/moment.h"

#include <gtest/gtest.h>

namespace dwell {
namespace {

TEST(Moment, TextsThatAreInstantsAreReadToTheMillisecond) {
  // RFC 3339 section 5.8 gives rows 1, 2, 4 and 5 as examples; the rest follows from its grammar.
  const std::pair<const char*, const char*> table[] = {
      {"1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"},
      {"1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"},
      {"2026-03-27T10:00:00+01:00", "2026-03-27T09:00:00Z"},
      {"1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"},
      {"1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z"},
      {"2026-03-27T10:00:00.1239999+05:45", "2026-03-27T04:15:00.123Z"},
      {"2024-02-29T00:00:00Z", "2024-02-29T00:00:00Z"},
      {"2000-02-29T23:59:59+14:00", "2000-02-29T09:59:59Z"},
      {"2026-01-01T00:00:00-00:00", "2026-01-01T00:00:00Z"},
      {"0001-01-01T00:00:00Z", "0001-01-01T00:00:00Z"},
      {"2011-12-28T10:00:00-10:00", "2011-12-28T20:00:00Z"},
  };
  for (const auto& [text, utc] : table) {
    const auto moment = ReadMoment(text);
    ASSERT_TRUE(moment.has_value()) << text;
    EXPECT_EQ(FormatInstant(moment->instant), utc) << text;
  }
}

TEST(Moment, KeepsTheTextAsItCameExceptForALeapSecond) {
  EXPECT_EQ(ReadMoment("2026-03-27T10:00:00.10+05:45")->text, "2026-03-27T10:00:00.10+05:45");
  EXPECT_EQ(ReadMoment("1990-12-31T15:59:60-08:00")->text, "1990-12-31T16:00:00-08:00");
}

TEST(Moment, WhatIsNoInstantIsRefused) {
  for (const char* text : {
           "",
           "2026-03-27",
           "2026-03-27T10:00Z",
           "2026-03-27T10:00:00",
           "2026-03-27 10:00:00Z",
           "2026-03-27t10:00:00Z",
           "2026-03-27T10:00:00z",
           "2026-02-29T10:00:00Z",
           "1900-02-29T10:00:00Z",
           "2026-04-31T10:00:00Z",
           "2026-13-01T10:00:00Z",
           "2026-00-01T10:00:00Z",
           "2026-01-00T10:00:00Z",
           "2026-01-01T24:00:00Z",
           "2026-01-01T10:60:00Z",
           "2026-01-01T10:00:61Z",
           "2026-01-01T10:00:00.Z",
           "2026-01-01T10:00:00+1:00",
           "2026-01-01T10:00:00+01",
           "2026-01-01T10:00:00+0100",
           "2026-01-01T10:00:00+14:01",
           "2026-01-01T10:00:00-15:00",
           "2026-01-01T10:00:00+01:60",
           "2026-01-01T10:00:00Z ",
           " 2026-01-01T10:00:00Z",
           "2026-01-01T10:00:00ZZ",
           "+026-01-01T10:00:00Z",
           "0000-01-01T00:00:00Z",
           "2026-1-01T10:00:00Z",
           "2026-01-01T1a:00:00Z",
           "20260101T100000Z0000",
       }) {
    EXPECT_FALSE(ReadMoment(text).has_value()) << text;
  }
}

TEST(Moment, EveryDayOfFourCenturiesIsReadBackAsWritten) {
  int days = 0;
  for (Instant day = std::chrono::sys_days(std::chrono::year(1800) / 1 / 1);
       day < std::chrono::sys_days(std::chrono::year(2200) / 1 / 1);
       day += std::chrono::days(1), ++days) {
    const Instant instant = day + std::chrono::milliseconds(days % 86'400'000);
    const auto read = ReadMoment(FormatInstant(instant));
    ASSERT_TRUE(read.has_value()) << FormatInstant(instant);
    ASSERT_EQ(read->instant, instant) << FormatInstant(instant);
  }
  EXPECT_EQ(days, 146'097) << "days of the 400 year cycle of the Gregorian calendar (ISO 8601)";
}

}  // namespace
}  // namespace dwell
