// From a checked document to a typed event, and what is wrong beyond the schema.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <sstream>
#include <string>

#include "mapping/event/event.h"
#include "schemas/base/check.h"
#include "schemas/json/document.h"

namespace dwell::event {
namespace {

using testing::ElementsAre;

/// One of the example events that the contract's own tests accept.
std::string Example(const std::string& name) {
  std::ifstream in(std::string(DWELL_SOURCE_DIR) + "/tests/schemas/events/" + name + ".json");
  std::stringstream text;
  text << in.rdbuf();
  CHECK(!text.str().empty());
  return text.str();
}

/// `text` with the one place where `from` stands replaced by `to`.
std::string With(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  CHECK(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

Result<Event, std::vector<Problem>> Read(const std::string& text) {
  const auto document = schemas::Document::Parse(text);
  CHECK(document.has_value());
  return ReadEvent(document->root());
}

Event ReadExample(const std::string& name) {
  auto event = Read(Example(name));
  CHECK(event.has_value());
  return *std::move(event);
}

TEST(ReadEvent, TheCommonMembersOfEveryKindAreRead) {
  for (const char* kind :
       {"insertion", "site-check", "flush", "dressing-change", "removal", "retraction"}) {
    const Event event = ReadExample(std::string(kind) + "_maximal");
    EXPECT_EQ(KindName(event.kind()), kind);
    EXPECT_TRUE(event.id.starts_with("E-200")) << kind;
    EXPECT_EQ(event.replaces, event.id + "-first");
    EXPECT_EQ(event.source, "ward-7b");
    EXPECT_EQ(event.patient.system, "https://fhir.nhs.uk/Id/nhs-number");
    EXPECT_EQ(event.patient.value, "9990000131");
    EXPECT_EQ(event.patient.second->value, "H 004417");
    EXPECT_EQ(event.encounter->value, "V-88213");
    EXPECT_EQ(event.place.ward + "/" + event.place.bay + "/" + event.place.bed, "7B/2/14");
    ASSERT_EQ(event.staff.size(), 2U);
    EXPECT_EQ(event.staff[0].value, "N-2041");
    EXPECT_EQ(event.staff[1].role, "physician");
    EXPECT_EQ(event.line_id, "L-3002");
    EXPECT_EQ(event.note, "Patient prefers the left arm.\nDominant hand: right.");
    ASSERT_TRUE(event.happened_until.has_value());
    EXPECT_GE(event.happened_until->instant, event.happened.instant);
    EXPECT_GT(event.recorded_at.instant, event.happened.instant);
  }
}

TEST(ReadEvent, AnInsertionIsReadWhole) {
  const Event event = ReadExample("insertion_maximal");
  EXPECT_EQ(FormatInstant(event.happened.instant), "2026-03-27T13:10:00Z");
  EXPECT_EQ(event.happened.text, "2026-03-27T14:10:00+01:00");
  EXPECT_EQ(FormatInstant(event.happened_until->instant), "2026-03-27T13:25:30.250Z");
  const auto& body = std::get<Insertion>(event.body);
  EXPECT_EQ(body.outcome, Outcome::kPlaced);
  EXPECT_EQ(body.reason, "difficult-access");
  EXPECT_EQ(body.line->kind, "peripheral-cannula");
  EXPECT_EQ(body.line->gauge, 22);
  EXPECT_EQ(body.line->french->text, "2.7");
  EXPECT_EQ(body.line->length_mm->text, "25.0") << "numbers keep their text";
  EXPECT_EQ(body.line->lot, "C-77810");
  EXPECT_EQ(body.line->expiry, "2028-02-29");
  EXPECT_EQ(body.line->udi,
            "01095060001343521728022910C-77810\x1d"
            "21S-0042");
  ASSERT_TRUE(body.line->udi_parts.has_value());
  EXPECT_EQ(body.line->udi_parts->device, "09506000134352");
  EXPECT_EQ(body.line->udi_parts->expires, "2028-02-29");
  EXPECT_EQ(body.line->udi_parts->serial, "S-0042");
  EXPECT_EQ(body.site->place + "/" + body.site->side + "/" + body.site->vein,
            "dorsum-of-hand/left/cephalic");
  EXPECT_TRUE(body.emergency);
  ASSERT_EQ(body.attempts.size(), 2U);
  EXPECT_EQ(body.attempts[0].site.place, "wrist");
  EXPECT_EQ(body.attempts[0].at->text, "2026-03-27T14:12:00+01:00");
  EXPECT_EQ(body.attempts[1].reason, "no-flashback");
  EXPECT_FALSE(body.attempts[1].at.has_value());
  const Preparation& prep = *body.preparation;
  EXPECT_THAT(
      (std::vector{prep.identity_checked, prep.consent, prep.hands_decontaminated, prep.gloves,
                   prep.apron, prep.equipment_in_date, prep.surface_cleaned,
                   prep.site_touched_again, prep.key_parts_untouched, prep.hub_disinfected}),
      ElementsAre(Answer::kYes, Answer::kNotKnown, Answer::kYes, Answer::kYes, Answer::kYes,
                  Answer::kYes, Answer::kYes, Answer::kNo, Answer::kYes, Answer::kYes));
  EXPECT_EQ(prep.surface_dried_min->text, "2");
  EXPECT_EQ(prep.skin_antiseptic, "chlorhexidine-2-alcohol-70");
  EXPECT_EQ(prep.skin_dried_s->text, "30");
  EXPECT_EQ(body.flush->fluid, "sodium-chloride-0.9");
  EXPECT_EQ(body.flush->millilitres->text, "10.0");
  EXPECT_EQ(body.flush->lot, "F-5521");
  EXPECT_EQ(body.flush->expiry, "2027-01");
  EXPECT_EQ(body.flush->checked_by_two, Answer::kYes);
  EXPECT_EQ(body.flush->swelling, Finding::kAbsent);
  EXPECT_EQ(body.flush->resistance, Finding::kAbsent);
  EXPECT_EQ(body.blood_on_entry, Finding::kPresent);
  EXPECT_EQ(body.blood_on_advance, Finding::kAbsent);
  EXPECT_EQ(body.extension_primed, Answer::kYes);
  EXPECT_EQ(body.extension_clamped, Answer::kYes);
  EXPECT_EQ(body.dressing->type + "/" + body.dressing->condition, "transparent/intact");
  EXPECT_EQ(body.date_label, Answer::kYes);
  EXPECT_EQ(body.patient_told, Answer::kYes);
}

TEST(ReadEvent, ASiteCheckIsReadWhole) {
  const Event event = ReadExample("site-check_maximal");
  const auto& body = std::get<SiteCheck>(event.body);
  const Signs& s = body.signs;
  EXPECT_EQ(s.pain, Finding::kPresent);
  EXPECT_EQ(s.erythema, Finding::kPresent);
  EXPECT_EQ(s.pyrexia, Finding::kNotAssessable);
  for (const Finding finding : {s.swelling, s.induration, s.palpable_cord, s.streak, s.pus,
                                s.leakage, s.bleeding, s.bruising, s.blanching, s.coolness}) {
    EXPECT_EQ(finding, Finding::kAbsent);
  }
  EXPECT_EQ(body.measures.redness_mm->text, "12.5");
  EXPECT_EQ(body.measures.swelling_mm->text, "0");
  EXPECT_EQ(body.measures.pain_0_10, 3);
  EXPECT_EQ(body.measures.temperature_cel->text, "37.40");
  EXPECT_EQ(body.grade->scale + "/" + body.grade->version, "visual-infusion-phlebitis/1998");
  EXPECT_EQ(body.grade->value, 2);
  EXPECT_EQ(body.infiltration_grade, 0);
  EXPECT_EQ(body.dressing->condition, "loose");
  EXPECT_EQ(body.patency, "sluggish");
  EXPECT_EQ(body.flush->lot, "F-5521");
  EXPECT_EQ(body.still_needed, Answer::kNo);
  EXPECT_THAT(body.action, ElementsAre("remove-planned", "physician-told"));
}

TEST(ReadEvent, TheOtherKindsAreReadWhole) {
  const Event flush = ReadExample("flush_maximal");
  EXPECT_EQ(std::get<Flush>(flush.body).flush.millilitres->text, "10.0");
  EXPECT_EQ(std::get<Flush>(flush.body).patency, "patent");
  const Event change = ReadExample("dressing-change_maximal");
  const auto& dressing = std::get<DressingChange>(change.body);
  EXPECT_EQ(dressing.found + "/" + dressing.type + "/" + dressing.lot, "soiled/transparent/D-1190");
  EXPECT_EQ(dressing.skin_antiseptic, "chlorhexidine-2-alcohol-70");
  EXPECT_EQ(dressing.site_cleaned, Answer::kYes);
  const Event out = ReadExample("removal_maximal");
  const auto& removal = std::get<Removal>(out.body);
  EXPECT_EQ(removal.reason, "phlebitis");
  EXPECT_EQ(removal.tip_complete, Answer::kYes);
  EXPECT_EQ(removal.signs.pain, Finding::kPresent);
  EXPECT_EQ(removal.grade->scale, "ins-phlebitis");
  EXPECT_EQ(removal.bleeding_stopped, Answer::kYes);
  EXPECT_EQ(removal.tip_to_laboratory, Answer::kNo);
  const Event undone = ReadExample("retraction_maximal");
  EXPECT_EQ(std::get<Retraction>(undone.body).retracts, "E-2005");
  EXPECT_EQ(std::get<Retraction>(undone.body).reason, "wrong-line");
}

TEST(ReadEvent, WhatIsNotSaidStaysUnsaid) {
  const Event event = ReadExample("site-check_minimal");
  const auto& body = std::get<SiteCheck>(event.body);
  EXPECT_EQ(body.signs.pyrexia, Finding::kNotAsked) << "not asked is not absent";
  EXPECT_FALSE(body.grade.has_value()) << "a missing grade is not grade 0";
  EXPECT_EQ(body.still_needed, Answer::kNotKnown);
  EXPECT_FALSE(event.happened_until.has_value());
  EXPECT_TRUE(event.replaces.empty());
}

TEST(ReadEvent, NamesNotToldAreNotTheSameAsNone) {
  const Event unsaid = ReadExample("site-check_minimal");
  EXPECT_FALSE(unsaid.patient_groups.has_value());
  EXPECT_FALSE(unsaid.infusions.has_value());
  const Event told = ReadExample("site-check_maximal");
  EXPECT_EQ(told.patient_groups, std::vector<Code>{});
  EXPECT_EQ(told.infusions, (std::vector<Code>{"vesicant", "lipid"}));
}

TEST(ReadEvent, ADeclinedInsertionHasNoLine) {
  const Event event = ReadExample("insertion_declined");
  EXPECT_EQ(std::get<Insertion>(event.body).outcome, Outcome::kDeclined);
  EXPECT_FALSE(std::get<Insertion>(event.body).reason.empty());
}

TEST(ReadEvent, ThePatientNumberIsPassedOnAsDigits) {
  const auto event = Read(With(Example("removal_maximal"), "\"9990000131\"", "\"999 000 0131\""));
  ASSERT_TRUE(event.has_value());
  EXPECT_EQ(event->patient.value, "9990000131");
}

TEST(ReadEvent, ProblemsBeyondTheSchemaSayWhereAndWhich) {
  struct Row {
    const char* example;
    const char* from;
    const char* to;
    const char* pointer;
    const char* rule;
  };
  const Row table[] = {
      {"removal_maximal", "\"9990000131\"", "\"9990000132\"", "/patient/value", "check-digit"},
      {"removal_maximal", "\"9990000131\"", "\"999-0000-131\"", "/patient/value", "check-digit"},
      {"removal_maximal", "https://stmerrow.example/hospital-number",
       "https://fhir.nhs.uk/Id/nhs-number", "/patient/second/value", "check-digit"},
      {"insertion_maximal", "2026-03-27T14:25:30.250+01:00", "2026-03-27T14:09:59+01:00",
       "/happened_until", "until-before-from"},
      {"insertion_maximal", "2026-03-27T14:31:00+01:00", "2026-03-27T14:04:59+01:00",
       "/recorded_at", "recorded-before-happened"},
      {"insertion_maximal", "2026-03-27T14:31:00+01:00", "2026-03-27T14:31:00", "/recorded_at",
       "date-time"},
      {"insertion_maximal", "2026-03-27T14:12:00+01:00", "2026-02-30T14:12:00+01:00",
       "/attempts/0/at", "date-time"},
      {"insertion_maximal", "2028-02-29", "2027-02-29", "/line/expiry", "date"},
      {"insertion_maximal", "2027-01", "2027-13", "/flush/expiry", "date"},
      {"insertion_maximal", "0109506000134352", "0109506000134353", "/line/udi", "udi-check-digit"},
      {"insertion_maximal", "77810\\u001d21", "7781021", "/line/udi", "udi-separator"},
      {"insertion_maximal", "\"lot\": \"C-77810\"", "\"lot\": \"C-77811\"", "/line/udi",
       "udi-disagrees"},
      {"insertion_maximal", "2028-02-29", "2028-02-28", "/line/udi", "udi-disagrees"},
      {"site-check_maximal", "\"value\": 2\n", "\"value\": 2.0\n", "/grade/value", "integer"},
      {"site-check_maximal", "not-assessable", "unclear", "/signs/pyrexia", "enum"},
      {"insertion_maximal", "\"placed\"", "\"put in\"", "/outcome", "enum"},
      {"insertion_maximal", "\"kind\": \"insertion\"", "\"kind\": \"other\"", "/kind", "enum"},
  };
  for (const Row& row : table) {
    const auto event = Read(With(Example(row.example), row.from, row.to));
    ASSERT_FALSE(event.has_value()) << row.pointer << " " << row.rule;
    ASSERT_EQ(event.error().size(), 1U) << row.pointer << " " << row.rule;
    EXPECT_EQ(event.error()[0].pointer, row.pointer);
    EXPECT_EQ(event.error()[0].rule, row.rule);
    EXPECT_FALSE(event.error()[0].expected.empty());
  }
}

TEST(ReadEvent, AScanAgreesWithAnExpiryThatNamesItsMonthOnly) {
  EXPECT_TRUE(Read(With(Example("insertion_maximal"), "2028-02-29", "2028-02")).has_value());
}

TEST(ReadEvent, ALotThatStaffEnteredSaysWhereTheLotOfAScanEnds) {
  // "21X" could be a serial number whose separator was lost; here it is the end of the lot.
  auto text = With(Example("insertion_maximal"), "10C-77810\\u001d21S-0042", "10C-21X");
  const auto doubtful = Read(With(text, "\"lot\": \"C-77810\",", ""));
  ASSERT_FALSE(doubtful.has_value());
  EXPECT_EQ(doubtful.error()[0].rule, "udi-separator");
  const auto said = Read(With(text, "\"lot\": \"C-77810\"", "\"lot\": \"C-21X\""));
  ASSERT_TRUE(said.has_value());
  EXPECT_EQ(std::get<Insertion>(said->body).line->udi_parts->lot, "C-21X");
}

TEST(ReadEvent, AnIdentifierOfNoKnownIssuerIsKeptAsItIs) {
  const auto event = Read(With(Example("insertion_maximal"),
                               "01095060001343521728022910C-77810\\u001d21S-0042", "REF 381-234"));
  ASSERT_TRUE(event.has_value());
  const auto& line = *std::get<Insertion>(event->body).line;
  EXPECT_EQ(line.udi, "REF 381-234");
  EXPECT_EQ(line.udi_parts->issuer, UdiIssuer::kUnknown);
}

TEST(ReadEvent, AnEntryAFewMinutesBeforeTheFactIsTheClocksDoing) {
  // 14:10 happened, 14:05 recorded: ward devices' clocks differ by minutes.
  EXPECT_TRUE(Read(With(Example("insertion_maximal"), "2026-03-27T14:31:00+01:00",
                        "2026-03-27T14:05:00+01:00"))
                  .has_value());
}

TEST(ReadEvent, AllProblemsAreToldAtOnce) {
  auto text = With(Example("removal_maximal"), "\"9990000131\"", "\"9990000132\"");
  text = With(text, "2026-03-29T11:05:00+01:00", "2026-03-29T10:05:00+01:00");
  const auto event = Read(text);
  ASSERT_FALSE(event.has_value());
  EXPECT_EQ(event.error().size(), 2U);
}

}  // namespace
}  // namespace dwell::event
