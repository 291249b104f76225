// The log's lines: always one JSON object, whatever comes in.
#include "daemon/base/log.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/base/clock.h"
#include "schemas/json/document.h"

namespace dwell::log {
namespace {

enum class Colour { kRed };
Literal LogName(Colour) { return "red"; }

const Instant kNow = ReadMoment("2026-03-02T09:00:00.250Z")->instant;

TEST(Log, WritesOneObjectWithTypedFields) {
  const std::string line = Line(
      Level::kWarning, "queue-long",
      {{"waiting", 12u}, {"late", true}, {"since", kNow}, {"colour", Colour::kRed}}, kNow, false);
  EXPECT_EQ(line, R"({"at":"2026-03-02T09:00:00.250Z","level":"warning","event":"queue-long",)"
                  R"("waiting":12,"late":true,"since":"2026-03-02T09:00:00.250Z","colour":"red"})"
                  "\n");
}

TEST(Log, PutsTheSyslogPriorityInFrontForTheJournal) {
  EXPECT_EQ(Line(Level::kError, "x", {}, kNow, true).substr(0, 4), "<3>{");
  EXPECT_EQ(Line(Level::kWarning, "x", {}, kNow, true).substr(0, 4), "<4>{");
  EXPECT_EQ(Line(Level::kInfo, "x", {}, kNow, true).substr(0, 4), "<6>{");
}

TEST(Log, StaysOneLineWhateverAnErrorSays) {
  const Error error(ErrorKind::kFull, "line\nbreak \"quoted\" \x01");
  const std::string line = Line(Level::kError, "store-failed", {{"error", error}}, kNow, false);
  EXPECT_EQ(line.find('\n'), line.size() - 1);
  const auto document = schemas::Document::Parse(line);
  ASSERT_TRUE(document.has_value()) << line;
  EXPECT_EQ(document->At("/error")->AsString(), error.message());
  EXPECT_EQ(document->At("/kind")->AsString(), "full");
}

static_assert(!std::is_constructible_v<Field, Literal, std::string>,
              "text from outside must have no way into the log");
static_assert(!std::is_constructible_v<Field, Literal, std::string_view>);

TEST(SystemClock, TellsThisCenturyInUtc) {
  const Instant now = base::SystemClock().Now();
  EXPECT_GT(now, ReadMoment("2025-01-01T00:00:00Z")->instant);
  EXPECT_LT(now, ReadMoment("2125-01-01T00:00:00Z")->instant);
}

}  // namespace
}  // namespace dwell::log
