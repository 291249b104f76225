#include "mapping/explain/explain.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>

#include "mapping/explain/contract.h"
#include "tests/mapping/explain/leaves.h"

namespace dwell::explain {
namespace {

using codes::CodeMap;
using codes::Coding;
using testing::Contains;
using testing::ElementsAre;
using testing::Field;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;

/// What a configuration comes to.
struct Setting {
  FhirRelease release = FhirRelease::kR4;
  CodeMap::Edition edition = CodeMap::Edition::kFree;
  std::string site_map = {};
};

std::vector<Row> Explained(std::string_view kind, const Setting& setting = {}) {
  const auto schemas = schemas::Bundled::Load(setting.release);
  std::optional<codes::File> site;
  if (!setting.site_map.empty()) site = codes::File("site.json", setting.site_map);
  const auto codes = CodeMap::LoadBundled(setting.edition, site);
  const auto zone = due::Zone::Load("Europe/London");
  CHECK(schemas.has_value() && codes.has_value() && zone.has_value());
  fhir::Context context;
  context.site_namespace = "https://fernhill.example/dwelld";
  context.release = setting.release;
  context.codes = &*codes;
  context.zone = &*zone;
  return Explain(kind, *schemas, context);
}

/// Made once for each kind.
const std::vector<Row>& Usual(std::string_view kind) {
  static std::map<std::string, std::vector<Row>, std::less<>> made;
  const auto found = made.find(kind);
  if (found != made.end()) return found->second;
  return made.emplace(kind, Explained(kind)).first->second;
}

/// The row of that field, resource ("Procedure insertion") and element; one without values if there
/// is none.
Row Find(const std::vector<Row>& rows, std::string_view field, std::string_view resource,
         std::string_view element) {
  for (const Row& row : rows) {
    const std::string name = row.role.empty() ? row.type : row.type + " " + row.role;
    if (row.field == field && name == resource && row.element == element) return row;
  }
  ADD_FAILURE() << field << " does not end up in " << resource << " " << element;
  return {};
}

/// The codings that a value of the field comes to there.
std::vector<Coding> CodingsFor(const Row& row, std::string_view value) {
  for (const Becomes& becomes : row.values) {
    if (becomes.value == value) return becomes.codings;
  }
  ADD_FAILURE() << row.field << " does not tell what " << value << " becomes";
  return {};
}

TEST(Explain, KnowsTheKindsOfTheContract) {
  EXPECT_THAT(Kinds(), testing::UnorderedElementsAre("insertion", "site-check", "flush",
                                                     "dressing-change", "removal", "retraction"));
}

TEST(Explain, EveryLeafOfEveryContractIsExplained) {
  for (const std::string_view kind : Kinds()) {
    std::set<std::string> explained;
    for (const Row& row : Usual(kind)) {
      if (!row.field.starts_with("/staff/1/")) explained.insert(row.field);
    }
    EXPECT_EQ(explained, Leaves::Of(std::string(kind))) << kind;
  }
}

TEST(Explain, OnlyTheseFieldsChangeNoResourceAndEachTellsWhy) {
  const std::set<std::string> everywhere = {"/patient/second/system", "/patient/second/value",
                                            "/extra"};
  std::set<std::string> of_retraction = {"/recorded_at", "/encounter/system", "/encounter/value",
                                         "/place/ward",  "/place/bay",        "/place/bed"};
  for (const char* member : {"system", "value", "role"}) {
    of_retraction.insert(std::string("/staff/1/") + member);
  }
  std::set<std::string> of_check = {"/staff/1/role"};
  of_check.insert(everywhere.begin(), everywhere.end());
  of_retraction.insert(everywhere.begin(), everywhere.end());
  const std::map<std::string_view, std::set<std::string>> expected = {
      {"site-check", of_check}, {"retraction", of_retraction}};
  for (const std::string_view kind : Kinds()) {
    std::set<std::string> nowhere;
    for (const Row& row : Usual(kind)) {
      EXPECT_EQ(row.type.empty(), !row.why.empty()) << kind << row.field;
      EXPECT_NE(row.why, "no resource shows it") << kind << row.field;
      if (row.type.empty()) nowhere.insert(row.field);
    }
    EXPECT_EQ(nowhere, expected.contains(kind) ? expected.at(kind) : everywhere) << kind;
  }
}

TEST(Explain, EveryCodeTellsWhatTheCodesOfItsGroupBecome) {
  std::size_t count = 0;
  for (const std::string_view kind : Kinds()) {
    for (const explain::Field& field : FieldsOf(kind)) {
      if (!field.code) continue;
      ++count;
      std::size_t most = 0;
      for (const Row& row : Usual(kind)) {
        if (row.field == field.pointer) most = std::max(most, row.values.size());
      }
      EXPECT_GT(most, 2U) << kind << field.pointer;
    }
  }
  EXPECT_GT(count, 20U);
}

// Where an insertion's site, a device's lot and a removal's reason belong: the element tables of
// https://hl7.org/fhir/R4/procedure.html (bodySite, reasonCode), device.html (lotNumber,
// udiCarrier) and deviceusestatement.html (timing: when the device was used).
TEST(Explain, AgreesWithTheElementsOfFhirR4) {
  const auto& insertion = Usual("insertion");
  Find(insertion, "/site/place", "Procedure insertion", "bodySite");
  Find(insertion, "/line/lot", "Device device", "lotNumber");
  Find(insertion, "/line/udi", "Device device", "udiCarrier.carrierHRF");
  Find(insertion, "/line/udi", "Device device", "udiCarrier.deviceIdentifier");
  Find(insertion, "/line/kind", "Device device", "type");
  Find(insertion, "/happened_until", "Procedure insertion", "performedPeriod.end");
  Find(insertion, "/happened_at", "DeviceUseStatement device-use", "timingPeriod.start");
  Find(Usual("removal"), "/happened_at", "DeviceUseStatement device-use", "timingPeriod.end");
  Find(Usual("removal"), "/reason", "Procedure removal", "reasonCode");
  Find(Usual("site-check"), "/note", "Observation site-check", "note.text");
}

TEST(Explain, AFieldEndsUpOnlyWhereItsOwnValueDoes) {
  for (const Row& row : Usual("insertion")) {
    if (row.field == "/happened_until") {
      EXPECT_THAT(row.element, Not(testing::HasSubstr("start")));
      EXPECT_THAT(row.element, Not(testing::HasSubstr("DateTime")));
    }
    if (row.field == "/note") {
      EXPECT_NE(row.element, "note.time");
    }
  }
}

// A Provenance has one author here, a Procedure as many performers as took part (cardinality 0..*,
// https://hl7.org/fhir/R4/procedure.html).
TEST(Explain, TheSecondOfAListIsToldWhereItEndsUpElsewhere) {
  const auto& removal = Usual("removal");
  Find(removal, "/staff/1/value", "Procedure removal", "performer.actor.identifier.value");
  for (const Row& row : removal) {
    if (row.field.starts_with("/staff/1/")) {
      EXPECT_NE(row.type, "Provenance");
    }
  }
}

// 52101004 |Present| and 2667000 |Absent|: SNOMED CT Global Patient Set. "unknown": FHIR's
// https://hl7.org/fhir/R4/codesystem-data-absent-reason.html. mL: https://ucum.org.
TEST(Explain, TellsTheCodesThatValuesBecome) {
  const auto& check = Usual("site-check");
  const Row pain =
      Find(check, "/signs/pain", "Observation site-check", "component[pain].valueCodeableConcept");
  EXPECT_THAT(pain.values,
              ElementsAre(Field(&Becomes::value, "present"), Field(&Becomes::value, "absent")));
  EXPECT_EQ(CodingsFor(pain, "present")[0].code, "52101004");
  EXPECT_EQ(CodingsFor(pain, "absent")[0].code, "2667000");
  const Row unseen =
      Find(check, "/signs/pain", "Observation site-check", "component[pain].dataAbsentReason");
  EXPECT_EQ(CodingsFor(unseen, "not-assessable")[0].code, "unknown");
  const Row volume = Find(Usual("flush"), "/flush/mL", "Observation flush-record",
                          "component[flush-volume].valueQuantity");
  EXPECT_THAT(volume.values,
              ElementsAre(Becomes{"", {{"http://unitsofmeasure.org", "mL", "mL"}}, ""}));
}

// The status codes of https://hl7.org/fhir/R4/valueset-event-status.html.
TEST(Explain, TellsThePlainCodesOfFhirToo) {
  const Row status = Find(Usual("insertion"), "/outcome", "Procedure insertion", "status");
  EXPECT_THAT(
      status.values,
      ElementsAre(Becomes{"placed", {}, "completed"}, Becomes{"failed", {}, "completed"},
                  Becomes{"declined", {}, "not-done"}, Becomes{"not-attempted", {}, "not-done"}));
}

// 103709008 |Failed attempted procedure|: SNOMED CT Global Patient Set.
TEST(Explain, WhatAnotherFieldSaysIsNotWhatAValueBecomes) {
  const Row why = Find(Usual("insertion"), "/outcome", "Procedure insertion", "statusReason");
  ASSERT_THAT(why.values, SizeIs(1));  // the reason that the example gives is not the outcome
  EXPECT_THAT(CodingsFor(why, "failed"), ElementsAre(Field(&Coding::code, "103709008")));
}

// 20699002 |Structure of cephalic vein|: SNOMED CT Global Patient Set.
TEST(Explain, OfOneElementEachFieldTellsItsPart) {
  const Row vein = Find(Usual("insertion"), "/site/vein", "Procedure insertion", "bodySite");
  EXPECT_THAT(CodingsFor(vein, "cephalic"), ElementsAre(Field(&Coding::code, "20699002")));
  const Row tried =
      Find(Usual("insertion"), "/attempts/0/site/place", "Procedure attempt", "bodySite");
  EXPECT_THAT(CodingsFor(tried, "forearm"), Not(IsEmpty()));  // where the next try went, too
}

TEST(Explain, WhatHasNoTargetInTheMapsIsToldAsOurCodeAndText) {
  const Row reason = Find(Usual("removal"), "/reason", "Procedure removal", "reasonCode");
  std::map<std::string, bool> own_only;
  for (const Becomes& becomes : reason.values) own_only[becomes.value] = becomes.IsOwnOnly();
  EXPECT_TRUE(own_only.at("dislodged"));
  EXPECT_FALSE(own_only.at("phlebitis"));
}

TEST(Explain, TheLicensedMapChangesWhatIsTold) {
  const auto licensed = Explained("insertion", {.edition = CodeMap::Edition::kLicensed});
  EXPECT_NE(licensed, Usual("insertion"));
}

// After the CodeSystem and ConceptMap of https://hl7.org/fhir/R4/conceptmap.html, invented codes.
constexpr const char* kSiteMap = R"({"resourceType":"ConceptMap","status":"draft","group":[{
  "source":"https://dwelld.example/fhir/CodeSystem/line-care",
  "target":"https://fernhill.example/fhir/CodeSystem/why","element":[
   {"code":"dislodged","target":[{"code":"W07","display":"Came out","equivalence":"equal"}]},
   {"code":"slipped","display":"slipped","target":[
     {"code":"W08","display":"Slipped","equivalence":"equal"}]}]}]})";

TEST(Explain, ASitesMapShowsWithItsTargetsAndItsOwnCodes) {
  const auto rows = Explained("removal", {.site_map = kSiteMap});
  const Row reason = Find(rows, "/reason", "Procedure removal", "reasonCode");
  const std::string system = "https://fernhill.example/fhir/CodeSystem/why";
  EXPECT_THAT(CodingsFor(reason, "dislodged"), ElementsAre(Coding{system, "W07", "Came out"}));
  EXPECT_THAT(CodingsFor(reason, "slipped"), ElementsAre(Coding{system, "W08", "Slipped"}));
  EXPECT_EQ(reason.values.back().value, "slipped");
}

// https://hl7.org/fhir/R5/deviceusage.html: DeviceUseStatement under its new name.
TEST(Explain, GoesByTheReleaseOfFhir) {
  for (const std::string_view kind : Kinds()) {
    const auto rows = Explained(kind, {.release = FhirRelease::kR5});
    EXPECT_THAT(rows, Contains(Field(&Row::type, "DeviceUsage"))) << kind;
    EXPECT_THAT(rows, Not(Contains(Field(&Row::type, "DeviceUseStatement")))) << kind;
  }
}

TEST(Explain, TheSameIsToldEachTime) {
  for (const std::string_view kind : Kinds()) EXPECT_EQ(Explained(kind), Usual(kind)) << kind;
}

}  // namespace
}  // namespace dwell::explain
