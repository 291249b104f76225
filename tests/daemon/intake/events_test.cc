// What becomes of events, over HTTP: stored, repeated, refused with their place, nothing stored
// that was refused.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/intake/outcome.h"
#include "tests/daemon/intake/http_rig.h"

namespace dwell::test {
namespace {

using schemas::Document;
using testing::HasSubstr;

std::string At(const std::string& json, std::string_view pointer) {
  const auto document = Document::Parse(json);
  if (!document) return "not JSON";
  const auto value = document->At(pointer);
  if (!value) return "absent";
  return std::string(value->is_string() ? value->AsString() : value->NumberText());
}

/// The bytes of a row of the table of malformed events: text, or hexadecimal where it is no text.
std::string BytesOf(schemas::Value row) {
  if (const auto body = row.Find("body")) return std::string(body->AsString());
  const std::string_view hex = row.Find("body_hex")->AsString();
  std::string bytes;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    bytes.push_back(static_cast<char>(std::stoi(std::string(hex.substr(i, 2)), nullptr, 16)));
  }
  return bytes;
}

std::vector<std::string> LinesOf(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

TEST(Events, TheSameEventAgainGetsTheSameBodyAndOtherContentIsAConflict) {
  HttpRig rig;
  const std::string first = rig.Ask(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(first), 201);
  EXPECT_THAT(first, HasSubstr("\r\nLocation: /events/a?source=ward-tablets\r\n"));
  rig.clock.Advance(std::chrono::hours(1));
  const std::string again = rig.Ask(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(again), 200);
  EXPECT_EQ(BodyOf(again), BodyOf(first));
  const std::string other = rig.Ask(Post(Raw(Insertion("a", 1))));
  EXPECT_EQ(StatusOf(other), 409);
  EXPECT_EQ(At(BodyOf(other), "/resourceType"), "OperationOutcome");
  EXPECT_EQ(rig.EventsStored(), 1U);
}

TEST(Events, WhatWasStoredIsTheSameEventAlsoAfterTheClockWasSetBack) {
  HttpRig rig;
  EXPECT_EQ(StatusOf(rig.Ask(Post(Raw(Insertion("a", 0))))), 201);
  rig.clock.Set(Hour(-6));
  EXPECT_EQ(StatusOf(rig.Ask(Post(Raw(Insertion("a", 0))))), 200);
  const std::string ahead = rig.Ask(Post(Raw(Flush("b", 0))));
  EXPECT_EQ(StatusOf(ahead), 422);
  EXPECT_EQ(At(BodyOf(ahead), "/issue/0/code"), "value");
  EXPECT_EQ(At(BodyOf(ahead), "/issue/0/details/coding/0/code"), "in-the-future");
  EXPECT_EQ(At(BodyOf(ahead), "/issue/0/expression/0"), "/happened_at");
  EXPECT_EQ(rig.EventsStored(), 1U);
}

TEST(Events, AContradictionToTheLineIsRefusedWithItsRule) {
  HttpRig rig;
  EXPECT_EQ(StatusOf(rig.Ask(Post(Raw(Insertion("a", 0))))), 201);
  const std::string second = rig.Ask(Post(Raw(Insertion("b", 1))));
  EXPECT_EQ(StatusOf(second), 422);
  EXPECT_EQ(At(BodyOf(second), "/issue/0/code"), "business-rule");
  EXPECT_EQ(rig.EventsStored(), 1U);
}

TEST(Events, EachLineOfABatchStandsForItself) {
  HttpRig rig;
  const std::string batch = Raw(Insertion("a", 0)) + "\n" + "{\"kind\":\"flush\"}\r\n" + "\n" +
                            "no JSON\n" + Raw(SiteCheck("b", 1)) + "\n" + Raw(Insertion("a", 0));
  const std::string response = rig.Ask(Post(batch, "application/x-ndjson"));
  EXPECT_EQ(StatusOf(response), 200);
  const auto lines = LinesOf(BodyOf(response));
  ASSERT_EQ(lines.size(), 5U);
  const char* const expected[][2] = {
      {"1", "201"}, {"2", "422"}, {"4", "400"}, {"5", "201"}, {"6", "200"}};
  for (std::size_t i = 0; i < lines.size(); ++i) {
    EXPECT_EQ(At(lines[i], "/line"), expected[i][0]);
    EXPECT_EQ(At(lines[i], "/status"), expected[i][1]);
  }
  EXPECT_EQ(At(lines[1], "/outcome/resourceType"), "OperationOutcome");
  EXPECT_EQ(At(lines[3], "/id"), "b");
  EXPECT_EQ(rig.EventsStored(), 2U);
}

constexpr const char* kCpr = "urn:oid:1.2.208.176.1.2";

/// The same event of another patient.
std::string Of(const Sketch& sketch, const std::string& system, const std::string& value) {
  const std::string nhs = R"("system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000018")";
  std::string raw = Raw(sketch);
  raw.replace(raw.find(nhs), nhs.size(), R"("system":")" + system + R"(","value":")" + value + '"');
  return raw;
}

TEST(Events, ADoubtfulPatientIdentifierIsStoredWithAWarningThatRepeatsGetToo) {
  HttpRig rig;
  const std::string event = Of(Insertion("a", 0), kCpr, "2110625628");
  const std::string first = rig.Ask(Post(event));
  EXPECT_EQ(StatusOf(first), 201);
  EXPECT_EQ(At(BodyOf(first), "/id"), "a");
  EXPECT_EQ(At(BodyOf(first), "/outcome/issue/0/severity"), "warning");
  EXPECT_EQ(At(BodyOf(first), "/outcome/issue/0/code"), "value");
  EXPECT_EQ(At(BodyOf(first), "/outcome/issue/0/expression/0"), "/patient/value");
  EXPECT_EQ(BodyOf(first).find("2110625628"), std::string::npos);
  const auto body = Document::Parse(BodyOf(first));
  ASSERT_TRUE(body.has_value());
  EXPECT_TRUE(Shelf::Get().schemas.CheckResource(*body->root().Find("outcome")).empty());
  rig.clock.Advance(std::chrono::hours(1));
  const std::string again = rig.Ask(Post(event));
  EXPECT_EQ(StatusOf(again), 200);
  EXPECT_EQ(BodyOf(again), BodyOf(first));
  const std::string made = BodyOf(rig.Ask(Get("/events/a?source=ward-tablets")));
  EXPECT_EQ(At(made, "/deliveries/0/state"), "ready") << "mapped as ever";
}

TEST(Events, ABatchTellsWarningsOnTheLineOfTheirEvent) {
  HttpRig rig;
  const std::string batch = Of(Insertion("a", 0, "l1"), kCpr, "2110625628") + "\n" +
                            Of(Insertion("b", 0, "l2"), kCpr, "211062-5629") + "\n" +
                            Of(Insertion("a", 0, "l1"), kCpr, "2110625628");
  const auto lines = LinesOf(BodyOf(rig.Ask(Post(batch, "application/x-ndjson"))));
  ASSERT_EQ(lines.size(), 3U);
  EXPECT_EQ(At(lines[0], "/status"), "201");
  EXPECT_EQ(At(lines[0], "/outcome/issue/0/severity"), "warning");
  EXPECT_EQ(At(lines[1], "/status"), "201");
  EXPECT_EQ(At(lines[1], "/outcome"), "absent");
  EXPECT_EQ(At(lines[2], "/status"), "200");
  EXPECT_EQ(At(lines[2], "/outcome/issue/0/expression/0"), "/patient/value");
}

TEST(Events, AFailingGuaranteedCheckDigitIsRefusedInClearWords) {
  HttpRig rig;
  const std::string refused =
      rig.Ask(Post(Of(Insertion("a", 0), "https://fhir.nhs.uk/Id/nhs-number", "9990000019")));
  EXPECT_EQ(StatusOf(refused), 422);
  EXPECT_EQ(At(BodyOf(refused), "/issue/0/severity"), "error");
  EXPECT_EQ(At(BodyOf(refused), "/issue/0/code"), "value");
  EXPECT_EQ(At(BodyOf(refused), "/issue/0/expression/0"), "/patient/value");
  EXPECT_THAT(At(BodyOf(refused), "/issue/0/details/text"),
              testing::AllOf(HasSubstr("NHS number"), HasSubstr("check digit")));
  EXPECT_EQ(BodyOf(refused).find("9990000019"), std::string::npos);
  EXPECT_EQ(rig.EventsStored(), 0U);
}

TEST(Events, ABatchWithoutEventsOrWithTooManyIsRefusedWhole) {
  HttpRig rig;
  EXPECT_EQ(StatusOf(rig.Ask(Post("\n \n", "application/x-ndjson"))), 400);
  std::string many;
  for (std::size_t i = 0; i <= limits::kBatchEventsMax; ++i) many += "{}\n";
  EXPECT_EQ(StatusOf(rig.Ask(Post(many, "application/x-ndjson"))), 413);
}

TEST(Events, GetSaysWhatBecameOfAnEvent) {
  HttpRig rig;
  EXPECT_EQ(StatusOf(rig.Ask(Post(Raw(Insertion("a/1", 0))))), 201);
  const std::string found = rig.Ask(Get("/events/a%2F1?source=ward-tablets"));
  EXPECT_EQ(StatusOf(found), 200);
  EXPECT_EQ(At(BodyOf(found), "/kind"), "insertion");
  EXPECT_EQ(At(BodyOf(found), "/line"), "line-1");
  EXPECT_EQ(At(BodyOf(found), "/received_at"), "2026-04-01T00:00:00Z");
  EXPECT_EQ(At(BodyOf(found), "/deliveries/0/state"), "ready");
  EXPECT_EQ(StatusOf(rig.Ask(Get("/events/other?source=ward-tablets"))), 404);
  EXPECT_EQ(StatusOf(rig.Ask(Get("/events/a%2F1"))), 400);
  EXPECT_EQ(StatusOf(rig.Ask(Get("/events/a%2?source=x"))), 400);
}

TEST(Events, AnEventFurtherInTheFutureThanClocksDifferIsRefused) {
  HttpRig rig;
  rig.clock.Set(Hour(0));
  EXPECT_EQ(StatusOf(rig.Ask(Post(Raw(Insertion("a", 5.0 / 60))))), 201);
  const std::string late = rig.Ask(Post(Raw(SiteCheck("b", 5.1 / 60))));
  EXPECT_EQ(StatusOf(late), 422);
  EXPECT_EQ(At(BodyOf(late), "/issue/0/expression/0"), "/happened_at");
}

TEST(Events, EveryMalformedEventIsRefusedWithStatusAndPlaceAndNothingIsStored) {
  HttpRig rig;
  const std::string text = ReadBytes(DWELL_SOURCE_DIR "/tests/schemas/bad_events/malformed.json");
  const auto table = Document::Parse(text, {.bytes_max = 16 << 20, .values_max = 1'000'000});
  ASSERT_TRUE(table.has_value());
  ASSERT_GE(table->root().size(), 60U);
  for (const schemas::Value row : table->root()) {
    const std::string name(row.Find("name")->AsString());
    const std::string response = rig.Ask(Post(BytesOf(row)));
    EXPECT_EQ(std::to_string(StatusOf(response)), row.Find("status")->NumberText()) << name;
    const auto pointer = row.Find("pointer");  // left out where a limit decides it
    const std::string body = BodyOf(response);
    const auto outcome = Document::Parse(body);
    ASSERT_TRUE(outcome.has_value()) << name;
    EXPECT_TRUE(Shelf::Get().schemas.CheckResource(outcome->root()).empty()) << name << body;
    if (pointer && !pointer->AsString().empty()) {
      EXPECT_EQ(At(body, "/issue/0/expression/0"), pointer->AsString()) << name;
    }
  }
  EXPECT_EQ(rig.EventsStored(), 0U);
}

// Value set http://hl7.org/fhir/ValueSet/issue-type, FHIR R4 (4.0.1): the codes we use are in it.
TEST(Outcome, IsALegalResourceForEveryRuleWeHaveAWordFor) {
  for (const char* const rule : {"required", "enum", "size", "syntax", "duplicate-member",
                                 "draining", "connections", "not-found", "second-insertion"}) {
    const std::string text = intake::OperationOutcome({{rule, "/a", "b"}, {rule, "", ""}});
    const auto document = Document::Parse(text);
    ASSERT_TRUE(document.has_value()) << text;
    EXPECT_TRUE(Shelf::Get().schemas.CheckResource(document->root()).empty()) << text;
  }
}

}  // namespace
}  // namespace dwell::test
