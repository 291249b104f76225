// What of a line presses, and which lines are asked for.
#include "daemon/command/ward_line.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/command/ward.h"

namespace dwell::command {
namespace {

using std::chrono::minutes;
using testing::ElementsAre;

const Instant kNow = ReadMoment("2026-03-02T12:00:00Z")->instant;

WardLine Read(const std::string& row) {
  const auto document = schemas::Document::Parse(row);
  EXPECT_TRUE(document) << row;
  return ReadWardLine(document->root());
}

/// A line in place on Alder with these dues.
WardLine With(const std::string& id, const std::string& dues) {
  return Read(R"({"line_id":")" + id + R"(","phase":"in-place","ward":"Alder","dues":[)" + dues +
              "]}");
}

const char* const kLater =
    R"({"rule":"site-check-due","stage":"not-yet-due","due_at":"2026-03-02T14:00:00Z",)"
    R"("forgotten_from":"2026-03-02T22:00:00Z"})";
const char* const kSoon =
    R"({"rule":"removal-due","stage":"due-soon","due_at":"2026-03-02T12:30:00Z"})";
const char* const kDue =
    R"({"rule":"dressing-change-due","stage":"due","due_at":"2026-03-02T11:45:00Z"})";
const char* const kOverdue =
    R"({"rule":"removal-due","stage":"overdue","due_at":"2026-03-02T09:00:00Z"})";
const char* const kRemoveNow = R"({"rule":"remove-now","stage":"due","reason":"phlebitis-grade",)"
                               R"("due_at":"2026-03-02T11:50:00Z"})";
const char* const kForgotten =
    R"({"rule":"site-check-due","stage":"overdue","due_at":"2026-03-01T22:00:00Z",)"
    R"("forgotten_from":"2026-03-02T06:00:00Z"})";

TEST(WardLine, ReadsWhatTheDaemonTellsAndNothingElse) {
  const WardLine line = Read(
      R"({"source":"icu","line_id":"L-1","patient":{"system":"s","value":"9990000131"},)"
      R"("phase":"in-place","ward":"Alder","bay":"2","bed":"","kind":"midline",)"
      R"("site":{"place":"upper-arm","side":"left"},"since":"2026-03-01T09:00:00Z",)"
      R"("emergency":true,"removed_at":null,"last_check":"2026-03-02T06:10:00Z","last_grade":1,)"
      R"("last_grade_scale":"ins-phlebitis","dues":[)" +
      std::string(kRemoveNow) + "]}");
  EXPECT_EQ(line.patient, "9990000131");
  EXPECT_EQ(line.bed, "");
  EXPECT_EQ(line.site, "upper-arm left");
  EXPECT_EQ(line.since, ReadMoment("2026-03-01T09:00:00Z")->instant);
  EXPECT_EQ(line.removed_at, std::nullopt);
  EXPECT_EQ(line.last_grade, 1);
  EXPECT_TRUE(line.is_emergency);
  ASSERT_NE(line.Find("remove-now"), nullptr);
  EXPECT_EQ(line.Find("remove-now")->reason, "phlebitis-grade");
  EXPECT_EQ(line.Find("removal-due"), nullptr);

  const WardLine bare = Read(R"({"line_id":"L-2","phase":"unknown","last_grade":null})");
  EXPECT_EQ(bare.last_grade, std::nullopt);
  EXPECT_EQ(bare.since, std::nullopt);
  EXPECT_TRUE(bare.MayBeInPlace());
}

TEST(WardLine, WhatNobodySaysIsOutMayBeInPlace) {
  for (const char* phase : {"in-place", "unknown", "unreadable", "", "a-phase-of-tomorrow"}) {
    EXPECT_TRUE(Read(R"({"phase":")" + std::string(phase) + "\"}").MayBeInPlace()) << phase;
  }
  for (const char* phase : {"removed", "not-placed", "taken-back", "no-longer-kept"}) {
    EXPECT_FALSE(Read(R"({"phase":")" + std::string(phase) + "\"}").MayBeInPlace()) << phase;
  }
}

TEST(WardLine, TheMostUrgentComesFirst) {
  const std::string comma = ",";
  std::vector<WardLine> lines = {
      With("nothing", ""),
      With("later", kLater),
      With("soon", kSoon + comma + kLater),
      With("due", kLater + comma + kDue),
      With("overdue", kOverdue),
      With("remove-now", kOverdue + comma + kRemoveNow),
      With("forgotten", kForgotten),
      Read(R"({"line_id":"unreadable","phase":"unreadable"})"),
  };
  SortByUrgency(lines, kNow);
  std::vector<std::string> order;
  for (const WardLine& line : lines) order.push_back(line.line_id);
  EXPECT_THAT(order, ElementsAre("unreadable", "forgotten", "remove-now", "overdue", "due", "soon",
                                 "later", "nothing"));
}

TEST(WardLine, OfTheSameUrgencyWhatIsDueFirstComesFirst) {
  const char* const earlier =
      R"({"rule":"removal-due","stage":"overdue","due_at":"2026-03-01T09:00:00Z"})";
  std::vector<WardLine> lines = {With("a", kOverdue), With("b", earlier)};
  SortByUrgency(lines, kNow);
  EXPECT_EQ(lines.front().line_id, "b");
}

TEST(WardLine, IsForgottenFromTheInstantOnThatTheDaemonNames) {
  const WardLine line = With("a", kLater);
  const Instant from = ReadMoment("2026-03-02T22:00:00Z")->instant;
  EXPECT_EQ(UrgencyOf(line, from - minutes(1)), Urgency::kLater);
  EXPECT_EQ(UrgencyOf(line, from), Urgency::kForgotten);
}

struct FilterRow {
  const char* name;
  WardFilter filter;
  WardLine line;
  bool passes;
};

TEST(WardLine, PassesWhatItIsAskedFor) {
  const WardLine graded = Read(R"({"phase":"in-place","ward":"Alder","last_grade":2,"dues":[]})");
  const WardLine unreadable = Read(R"({"line_id":"u","phase":"unreadable"})");
  const FilterRow rows[] = {
      {"all", {}, With("a", ""), true},
      {"its ward", {.ward = "Alder"}, With("a", ""), true},
      {"another ward", {.ward = "Birch"}, With("a", ""), false},
      {"within", {.due_within = minutes(120)}, With("a", kLater), true},
      {"not within", {.due_within = minutes(119)}, With("a", kLater), false},
      {"due already", {.due_within = minutes(0)}, With("a", kOverdue), true},
      {"without a time", {.due_within = minutes(0)}, With("a", R"({"rule":"remove-now"})"), true},
      {"nothing due", {.due_within = minutes(600)}, With("a", ""), false},
      {"overdue", {.overdue = true}, With("a", kOverdue), true},
      {"forgotten counts as overdue", {.overdue = true}, With("a", kForgotten), true},
      {"to be removed now counts as overdue", {.overdue = true}, With("a", kRemoveNow), true},
      {"due is not overdue", {.overdue = true}, With("a", kDue), false},
      {"graded so high", {.grade_min = 2}, graded, true},
      {"graded lower", {.grade_min = 3}, graded, false},
      {"not graded", {.grade_min = 0}, With("a", ""), false},
      {"unreadable, by ward", {.ward = "Birch"}, unreadable, true},
      {"unreadable, by due", {.due_within = minutes(1)}, unreadable, true},
      {"unreadable, overdue", {.overdue = true}, unreadable, true},
  };
  for (const FilterRow& row : rows) {
    EXPECT_EQ(IsAskedFor(row.line, row.filter, kNow), row.passes) << row.name;
  }
}

TEST(WardLine, ALineOfWhichNothingCanBeReadIsListedAllTheSame) {
  WardLine line;
  line.phase = "unreadable";
  line.row = "{\"line_id\":";
  const std::vector<std::string> cells = LineCells(line, kNow);
  EXPECT_EQ(cells.front(), "cannot be read");
  EXPECT_THAT(std::vector(cells.begin() + 1, cells.end()), testing::Each("-"));
}

TEST(WardLine, ReadsSpansOfTime) {
  EXPECT_EQ(ReadSpan("90m"), minutes(90));
  EXPECT_EQ(ReadSpan("4h"), minutes(240));
  EXPECT_EQ(ReadSpan("2d"), minutes(2880));
  EXPECT_EQ(ReadSpan("0m"), minutes(0));
  for (const char* text :
       {"", "h", "4", "4 h", "-4h", "4w", "4.5h", "367d", "99999999999999999h"}) {
    EXPECT_EQ(ReadSpan(text), std::nullopt) << text;
  }
}

}  // namespace
}  // namespace dwell::command
