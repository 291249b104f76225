// Which Tasks a search shows. Parameters and their grammar: FHIR R4 search.html, task.html#search.
#include "daemon/search/task_query.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace dwell::search {
namespace {

const char* const kTask =
    R"({"resourceType":"Task","id":"dwell-1",)"
    R"("identifier":[{"system":"https://a.example/task","value":"L-1/x,y|z/e"}],)"
    R"("status":"ready","priority":"asap","businessStatus":{"coding":[)"
    R"({"system":"https://codes.example","code":"overdue"}]},)"
    R"("code":{"coding":[{"system":"https://codes.example","code":"removal-due"}]},)"
    R"("for":{"identifier":{"system":"https://fhir.nhs.uk/Id/nhs-number",)"
    R"("value":"9990000131"}},"location":{"identifier":{"system":)"
    R"("https://a.example/ward","value":"Alder"}},)"
    R"("restriction":{"period":{"end":"2026-03-02T14:00:00Z"}}})";

bool Shows(const std::string& query, const std::string& text = kTask) {
  const auto task = schemas::Document::Parse(text);
  EXPECT_TRUE(task);
  const auto read = ReadTaskQuery(query);
  EXPECT_TRUE(read) << query << ": " << (read ? "" : read.error().expected);
  return read && Fits(*read, task->root());
}

struct Row {
  const char* query;
  bool shows;
};

TEST(TaskQuery, ShowsWhatFitsEveryCondition) {
  const Row rows[] = {
      {"", true},
      {"status=ready", true},
      {"status=requested", false},
      {"status=requested,ready", true},
      {"status=requested&status=ready", false},
      {"status=http://hl7.org/fhir/task-status%7Cready", true},
      {"status=https://else.example%7Cready", false},
      {"business-status=overdue", true},
      {"business-status=https://codes.example%7Coverdue", true},
      {"business-status=%7Coverdue", false},
      {"code=removal-due&status=ready", true},
      {"code=removal-due&status=completed", false},
      {"code=https://codes.example%7C", true},
      {"priority=stat,asap", true},
      {"_id=dwell-1", true},
      {"_id=dwell-2", false},
      {"patient:identifier=https://fhir.nhs.uk/Id/nhs-number%7C9990000131", true},
      {"patient:identifier=9990000131", true},
      {"patient:identifier=9990000158", false},
      {"ward=Alder", true},
      {"ward=alder", false},
      {"ward=Birch,Alder", true},
      {"identifier=https://a.example/task%7CL-1/x%5C,y%5C%7Cz/e", true},
      {"identifier=L-1/x", false},
      {"due=2026-03-02T14:00:00Z", true},
      {"due=2026-03-02T15:00:00%2B01:00", true},
      {"due=2026-03-02T15:00:00+01:00", true},
      {"due=le2026-03-02T14:00:00Z", true},
      {"due=lt2026-03-02T14:00:00Z", false},
      {"due=ge2026-03-02T14:00:00Z", true},
      {"due=gt2026-03-02T14:00:00Z", false},
      {"due=gt2026-03-02T13:00:00Z&due=lt2026-03-02T15:00:00Z", true},
      {"_count=5&_format=json", true},
  };
  for (const Row& row : rows) EXPECT_EQ(Shows(row.query), row.shows) << row.query;
}

TEST(TaskQuery, ATaskWithoutTheMemberDoesNotFit) {
  for (const char* query : {"status=ready", "due=le2999-01-01T00:00:00Z", "ward=Alder",
                            "patient:identifier=9990000131", "code=https://codes.example%7C"}) {
    EXPECT_FALSE(Shows(query, R"({"resourceType":"Task"})")) << query;
  }
}

TEST(TaskQuery, TheWindowOfR5StandsElsewhere) {
  EXPECT_TRUE(
      Shows("due=le2026-03-02T14:00:00Z", R"({"requestedPeriod":{"end":"2026-03-02T14:00:00Z"}})"));
}

TEST(TaskQuery, WhatIsNotUnderstoodIsRefusedAndNeverPassedOver) {
  const char* const queries[] = {
      "colour=red",
      "Status=ready",
      "status=",
      "status=ready,",
      "status:not=ready",
      "patient=Patient/1",
      "ward=a%7Cb%7Cc",
      "due=2026-03-02",
      "due=2026-03-02T14:00:00",
      "due=ap2026-03-02T14:00:00Z",
      "_count=0",
      "_count=1001",
      "_count=ten",
      "_sort=due",
      "_include=Task:focus",
      "_summary=count",
      "_format=xml",
      "_from=x",
      "_from=-1.0",
      "status=%2",
      "status",
  };
  for (const char* query : queries) {
    const auto read = ReadTaskQuery(query);
    ASSERT_FALSE(read) << query;
    EXPECT_FALSE(read.error().expected.empty()) << query;
  }
}

TEST(TaskQuery, KnowsWhenOnlyWhatIsStillToBeDoneCanFit) {
  EXPECT_TRUE(ReadTaskQuery("status=ready,requested")->open_only);
  EXPECT_TRUE(ReadTaskQuery("ward=Alder&status=ready")->open_only);
  EXPECT_FALSE(ReadTaskQuery("status=ready,completed")->open_only);
  EXPECT_FALSE(ReadTaskQuery("business-status=overdue")->open_only);
  EXPECT_FALSE(ReadTaskQuery("")->open_only);
}

TEST(TaskQuery, ALinkToAPageAsksForTheSameAndSaysWhereToBegin) {
  const auto query = ReadTaskQuery("status=ready&_count=2&_from=7.1&ward=Alder");
  ASSERT_TRUE(query);
  EXPECT_EQ(query->place.line_seq, 7);
  EXPECT_EQ(query->place.told, 1U);
  EXPECT_EQ(query->count, 2U);
  const std::string link = QueryOfPage(*query, {9, 0});
  EXPECT_EQ(link, "status=ready&_count=2&ward=Alder&_from=9.0");
  EXPECT_EQ(ReadTaskQuery(link)->place.line_seq, 9);
}

}  // namespace
}  // namespace dwell::search
