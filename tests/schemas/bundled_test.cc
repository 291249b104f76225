// The bundled contracts and structures: examples pass, and every malformed event is refused.
#include "schemas/bundled.h"

#include <gmock/gmock.h>

#include <filesystem>

#include "tests/schemas/files.h"

namespace dwell::schemas {
namespace {

const Bundled& Schemas() {
  static const Bundled bundled = *Bundled::Load();
  return bundled;
}

struct Refusal {
  std::string status, pointer, rule;
  std::size_t count = 0;
  std::string all;
};

/// What a sender of the body is told first.
Refusal Examine(const std::string& body) {
  const auto document = Document::Parse(body);
  if (document.has_error()) {
    return {"400", document.error().pointer, document.error().rule, 1, document.error().expected};
  }
  const auto violations = Schemas().CheckEvent(document->root());
  if (violations.empty()) return {"201", "", "", 0, ""};
  return {"422", violations[0].pointer, violations[0].rule, violations.size(),
          Describe(violations)};
}

std::string BodyOf(Value row) {
  if (const auto body = row.Find("body")) return std::string(body->AsString());
  const std::string_view hex = row.Find("body_hex")->AsString();
  std::string bytes;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    bytes.push_back(static_cast<char>(std::stoi(std::string(hex.substr(i, 2)), nullptr, 16)));
  }
  return bytes;
}

TEST(Bundled, EverySchemaOfEveryReleaseCompiles) {
  for (const auto release : {FhirRelease::kR4, FhirRelease::kR4B, FhirRelease::kR5}) {
    for (const auto structure : {Structure::kFhir, Structure::kProfiles}) {
      const auto bundled = Bundled::Load(release, structure);
      EXPECT_TRUE(bundled) << FhirVersion(release) << ": " << bundled.error().message();
    }
  }
}

/// What is wrong with a resource in each release; empty for nothing.
std::vector<std::string> FindingsByRelease(const std::string& resource) {
  std::vector<std::string> findings;
  for (const auto release : {FhirRelease::kR4, FhirRelease::kR4B, FhirRelease::kR5}) {
    const auto bundled = Bundled::Load(release, Structure::kFhir);
    const auto document = Document::Parse(resource);
    CHECK(bundled.has_value() && document.has_value());
    const auto violations = bundled->CheckResource(document->root());
    findings.push_back(violations.empty() ? "" : violations[0].pointer + " " + violations[0].rule);
  }
  return findings;
}

// The differences are those between the releases' published definitions of these elements.
TEST(Bundled, EachReleaseHasItsOwnElements) {
  using testing::ElementsAre;
  EXPECT_THAT(FindingsByRelease(R"({"resourceType":"Procedure","status":"completed",
      "subject":{"reference":"Patient/1"},"performedDateTime":"2026-01-02T03:04:05Z"})"),
              ElementsAre("", "", "/performedDateTime additionalProperties"));
  EXPECT_THAT(FindingsByRelease(R"({"resourceType":"Procedure","status":"completed",
      "subject":{"reference":"Patient/1"},"occurrenceDateTime":"2026-01-02T03:04:05Z",
      "used":[{"concept":{"text":"saline"}}],"reason":[{"reference":{"reference":"Procedure/1"}}]})"),
              ElementsAre("/occurrenceDateTime additionalProperties",
                          "/occurrenceDateTime additionalProperties", ""));
  EXPECT_THAT(FindingsByRelease(R"({"resourceType":"DeviceUsage","status":"active",
      "patient":{"reference":"Patient/1"},"device":{"reference":{"reference":"Device/1"}},
      "timingPeriod":{"start":"2026-01-02T03:04:05Z"}})"),
              ElementsAre("/resourceType enum", "/resourceType enum", ""));
  EXPECT_THAT(FindingsByRelease(R"({"resourceType":"DeviceAssociation",
      "device":{"reference":"Device/1"},"subject":{"reference":"Patient/1"},
      "status":{"coding":[{"code":"implanted"}]}})"),
              ElementsAre("/resourceType enum", "/resourceType enum", ""));
  EXPECT_THAT(FindingsByRelease(R"({"resourceType":"Observation","status":"final",
      "code":{"text":"x"},"subject":{"reference":"Medication/1"}})"),
              ElementsAre("/subject/reference dwell:references", "", ""));
}

TEST(Bundled, WhatACodeableReferenceMayPointToIsLimited) {
  EXPECT_EQ(FindingsByRelease(R"({"resourceType":"DeviceUsage","status":"active",
      "patient":{"reference":"Patient/1"},"device":{"reference":{"reference":"Patient/1"}}})")[2],
            "/device/reference/reference dwell:references");
}

TEST(Bundled, AnIntegerOf64BitsIsTextInR5) {
  const std::string task = R"({"resourceType":"Task","status":"requested","intent":"order",
      "output":[{"type":{"text":"x"},"valueInteger64":)";
  EXPECT_EQ(FindingsByRelease(task + R"("9007199254740993"}]})")[2], "");
  EXPECT_EQ(FindingsByRelease(task + R"(9007199254740993}]})")[2], "/output/0/valueInteger64 type");
}

TEST(Bundled, EveryExampleEventPasses) {
  std::size_t count = 0;
  for (const auto& [name, text] : ReadFolder("tests/schemas/events")) {
    const auto document = Document::Parse(text);
    ASSERT_TRUE(document) << name;
    EXPECT_EQ(Describe(Schemas().CheckEvent(document->root())), "") << name;
    ++count;
  }
  EXPECT_EQ(count, 13U);
}

TEST(Bundled, TheExampleResourcePasses) {
  for (const auto& [name, text] : ReadFolder("tests/schemas/resources")) {
    const auto document = Document::Parse(text);
    ASSERT_TRUE(document) << name;
    EXPECT_EQ(Describe(Schemas().CheckResource(document->root())), "") << name;
  }
}

// The table's rows: a name; the body as text, or as hexadecimal where it is no text; the status
// that a sender is told; the pointer (left out where a limit decides it) and the rule that come
// first.
TEST(Bundled, EveryMalformedEventIsRefusedAtItsPlace) {
  const std::string text = ReadFile(DWELL_SOURCE_DIR "/tests/schemas/bad_events/malformed.json");
  const auto table = Document::Parse(text);
  ASSERT_TRUE(table);
  EXPECT_GE(table->root().size(), 60U);
  for (Value row : table->root()) {
    const Refusal refusal = Examine(BodyOf(row));
    const auto name = row.Find("name")->AsString();
    EXPECT_EQ(refusal.status, row.Find("status")->NumberText()) << name;
    EXPECT_EQ(refusal.rule, row.Find("rule")->AsString()) << name << "\n" << refusal.all;
    const auto pointer = row.Find("pointer");
    if (pointer) {
      EXPECT_EQ(refusal.pointer, pointer->AsString()) << name << "\n" << refusal.all;
    }
    EXPECT_EQ(refusal.count, 1U) << name << "\n" << refusal.all;
  }
}

TEST(Bundled, EveryKindHasMalformedEventsInTheTable) {
  const std::string text = ReadFile(DWELL_SOURCE_DIR "/tests/schemas/bad_events/malformed.json");
  for (const char* kind :
       {"insertion", "site-check", "flush", "dressing-change", "removal", "retraction"}) {
    EXPECT_NE(text.find(std::string(R"(\"kind\": \")") + kind), std::string::npos) << kind;
  }
}

TEST(Bundled, ViolationsNeverCarryTheValue) {
  const auto document = Document::Parse(
      R"({"kind":"flush","id":"Jane Secret","source":7777,"happened_at":"Secret","recorded_at":"Secret",
          "patient":{"system":"Secret","value":"","second":"Secret"},"place":{"ward":"Sec\tret"},
          "staff":"Secret","line_id":"Sec ret","flush":{"fluid":"Secret","mL":7777}})");
  ASSERT_TRUE(document);
  const auto violations = Schemas().CheckEvent(document->root());
  EXPECT_GE(violations.size(), 10U);
  EXPECT_THAT(Describe(violations), testing::Not(testing::HasSubstr("ecret")));
  EXPECT_THAT(Describe(violations), testing::Not(testing::HasSubstr("7777")));
}

TEST(Bundled, AResourceOfAnotherTypeIsRefusedByName) {
  const auto document = Document::Parse(R"({"resourceType":"Patient"})");
  EXPECT_EQ(Describe(Schemas().CheckResource(document->root())),
            "/resourceType enum (one of: Bundle, Device, DeviceUseStatement, Observation, "
            "OperationOutcome, Procedure, Provenance, Task)\n");
}

}  // namespace
}  // namespace dwell::schemas
