// The answers of a search, page by page.
#include "daemon/search/searchset.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "schemas/bundled.h"

namespace dwell::search {
namespace {

using testing::HasSubstr;

std::string Task(const std::string& id, const std::string& status = "ready") {
  return R"({"resourceType":"Task","id":"dwell-)" + id +
         R"(","lastModified":"2026-03-02T09:00:00Z",)" + R"("status":")" + status +
         R"(","intent":"order"})";
}

ledger::TaskPage::Line Line(std::int64_t seq, std::vector<std::string> tasks) {
  ledger::TaskPage::Line line;
  line.line_seq = seq;
  line.key = {"ward-tablet", "L-" + std::to_string(seq)};
  line.tasks = std::move(tasks);
  return line;
}

/// The ids of all pages that links lead to, over the lines; "|" between pages.
std::string AllPages(std::string query, const std::vector<ledger::TaskPage::Line>& lines) {
  std::string ids;
  for (int page = 0; page < 20; ++page) {
    const auto read = ReadTaskQuery(query);
    EXPECT_TRUE(read) << query;
    Searchset answer(*read);
    ledger::TaskPage all;
    for (const auto& line : lines) {
      if (line.line_seq >= read->place.line_seq) all.lines.push_back(line);
    }
    all.next = lines.back().line_seq + 1;
    answer.Take(all);
    const bool more = answer.next().line_seq != all.next;
    const auto document = schemas::Document::Parse(answer.Finish(more));
    EXPECT_TRUE(document);
    if (const auto entries = document->root().Find("entry")) {
      for (const schemas::Value entry : *entries) {
        ids += std::string(entry.Find("resource")->Find("id")->AsString()).substr(6);
      }
    }
    if (!more) return ids;
    ids += "|";
    query = document->At("/link/1/url")->AsString();
    query = query.substr(query.find('?') + 1);
  }
  return ids + " and no end";
}

TEST(Searchset, TellsEveryTaskOnceHoweverSmallThePages) {
  const std::vector<ledger::TaskPage::Line> lines = {Line(3, {Task("a"), Task("b")}),
                                                     Line(4, {Task("c")}),
                                                     Line(8, {Task("d"), Task("e"), Task("f")})};
  EXPECT_EQ(AllPages("", lines), "abcdef");
  EXPECT_EQ(AllPages("_count=6", lines), "abcdef");
  EXPECT_EQ(AllPages("_count=5", lines), "abc|def") << "a line is not torn";
  EXPECT_EQ(AllPages("_count=3", lines), "abc|def");
  EXPECT_EQ(AllPages("_count=2", lines), "ab|c|de|f") << "but where it is more than a page";
  EXPECT_EQ(AllPages("_count=1", lines), "a|b|c|d|e|f");
}

TEST(Searchset, CountsOnlyWhatFits) {
  const std::vector<ledger::TaskPage::Line> lines = {
      Line(1, {Task("a", "completed"), Task("b"), Task("c", "completed"), Task("d")}),
      Line(2, {Task("e", "completed")}), Line(3, {Task("f")})};
  EXPECT_EQ(AllPages("status=ready&_count=1", lines), "b|d|f");
  EXPECT_EQ(AllPages("status=ready&_count=2", lines), "bd|f");
  EXPECT_EQ(AllPages("status=cancelled", lines), "");
}

TEST(Searchset, WhatIsNotKnownIsSaidAndNeverLeftOut) {
  const auto query = ReadTaskQuery("status=ready");
  Searchset answer(*query);
  ledger::TaskPage page;
  page.lines = {Line(1, {})};
  page.lines.front().trouble = "a stored event is no JSON any more";
  page.next = 2;
  answer.Take(page);
  const std::string text = answer.Finish(false);
  EXPECT_THAT(text,
              HasSubstr(R"("diagnostics":"what is due at line L-1 of ward-tablet is not known)"));
  EXPECT_THAT(text, HasSubstr(R"("mode":"outcome")"));
}

TEST(Searchset, ATaskIsNamedByItsUuid) {
  const auto query = ReadTaskQuery("");
  Searchset answer(*query);
  ledger::TaskPage page;
  page.lines = {Line(1, {Task("00000000-0000-5000-8000-000000000001")})};
  answer.Take(page);
  const std::string text = answer.Finish(false);
  EXPECT_THAT(text, HasSubstr(R"("fullUrl":"urn:uuid:00000000-0000-5000-8000-000000000001")"));
}

TEST(Searchset, AnEmptyAnswerHasNoEmptyList) {
  const auto query = ReadTaskQuery("status=ready");
  EXPECT_EQ(Searchset(*query).Finish(false),
            R"({"resourceType":"Bundle","type":"searchset","link":[{"relation":"self",)"
            R"("url":"/fhir/Task?status=ready"}]})");
}

TEST(Statement, NamesEveryParameterAndItsDefinition) {
  const auto document = schemas::Document::Parse(
      CapabilityStatement(FhirRelease::kR5, "1.2.3", ReadMoment("2026-03-02T09:00:00Z")->instant));
  ASSERT_TRUE(document);
  EXPECT_EQ(document->At("/fhirVersion")->AsString(), "5.0.0");
  EXPECT_EQ(document->At("/rest/0/resource/0/type")->AsString(), "Task");
  EXPECT_EQ(document->At("/rest/0/resource/0/searchParam/1/name")->AsString(), "status");
  EXPECT_EQ(document->At("/rest/0/resource/0/searchParam/1/definition")->AsString(),
            "http://hl7.org/fhir/SearchParameter/Task-status");
}

}  // namespace
}  // namespace dwell::search
