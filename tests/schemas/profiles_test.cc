// Our profiles as the bundled schemas enforce them: changes to resources of the golden pairs that
// FHIR allows and a profile does not, and changes that a profile leaves to others. That FHIR allows
// them says the bare structure, which tests/conformance holds against outside judges.
#include <gtest/gtest.h>

#include <map>
#include <string>

#include "schemas/bundled.h"
#include "tests/schemas/changed.h"

namespace dwell::schemas {
namespace {

const Bundled& Schemas(FhirRelease release, Structure structure) {
  static std::map<std::pair<FhirRelease, Structure>, Bundled> loaded;
  const auto key = std::pair(release, structure);
  if (!loaded.contains(key)) loaded.emplace(key, *Bundled::Load(release, structure));
  return loaded.at(key);
}

/// What is wrong with a resource, one a line; empty when nothing is.
std::string FaultsOf(const std::string& resource, FhirRelease release, Structure structure) {
  const auto document = Document::Parse(resource);
  if (!document) return "no JSON: " + resource;
  return Describe(Schemas(release, structure).CheckResource(document->root()));
}

/// The first resource of that type in a golden pair, changed.
std::string Changed(const std::string& pair, std::string_view type, std::string_view path,
                    std::string_view json) {
  const auto bundle =
      Document::Parse(ReadFile(DWELL_SOURCE_DIR "/tests/golden/" + pair + "/out.json"));
  CHECK(bundle.has_value());
  for (const Value entry : *bundle->root().Find("entry")) {
    const Value resource = *entry.Find("resource");
    if (resource.Find("resourceType")->AsString() != type) continue;
    JsonWriter out;
    WriteChanged(resource, path, json, &out);
    return out.Take();
  }
  return {};
}

struct Change {
  const char* type;
  const char* path;
  const char* json;  ///< or empty: it is left out
};

constexpr const char* kExtension = R"([{"url":"https://a.example/x","valueBoolean":true}])";
constexpr const char* kText = R"({"text":"x"})";
constexpr const char* kTexts = R"([{"text":"x"}])";
constexpr const char* kUnit =
    R"({"type":"Organization","identifier":{"system":"u:s","value":"1"}})";
constexpr const char* kGroup = R"({"type":"Group","identifier":{"system":"u:s","value":"1"}})";
constexpr const char* kPatient = R"({"reference":"Patient/1"})";
constexpr const char* kDisplay = R"({"display":"x"})";
constexpr const char* kEnd = R"({"end":"2026-04-01T10:00:00Z"})";
constexpr const char* kReferences = R"([{"reference":"Observation/1"}])";

// Of every type of every release.
constexpr Change kForbiddenEverywhere[] = {
    {"", "/id", ""},
    {"", "/meta", ""},
    {"", "/meta", R"({"tag":[{"system":"u:s","code":"x"}]})"},
    {"", "/implicitRules", R"("https://a.example/rules")"},
    {"", "/text", ""},
    {"", "/text/status", R"("additional")"},
    {"", "/modifierExtension", kExtension},
};
constexpr Change kAllowedEverywhere[] = {
    {"", "/extension", kExtension},
    {"", "/language", R"("en")"},
    {"", "/meta/tag", R"([{"system":"u:s","code":"x"}])"},
    {"", "/meta/profile", R"(["https://a.example/profile"])"},
};

/// FHIR takes the changed resource; the profile takes it too, or refuses it.
void Expect(bool is_taken, const std::string& pair, std::string_view type, const Change& change,
            FhirRelease release) {
  const std::string resource = Changed(pair, type, change.path, change.json);
  std::string what(FhirVersion(release));
  what.append(" ").append(pair).append(" ").append(type).append(change.path).append(change.json);
  EXPECT_NE(resource, Changed(pair, type, "/", "")) << what << " changes nothing";
  EXPECT_EQ(FaultsOf(resource, release, Structure::kFhir), "") << what;
  const std::string faults = FaultsOf(resource, release, Structure::kProfiles);
  EXPECT_EQ(faults.empty(), is_taken) << what << "\n" << faults;
}

constexpr FhirRelease kUpToR4B[] = {FhirRelease::kR4, FhirRelease::kR4B};
constexpr const char* kTypes[] = {"Device",      "Procedure", "DeviceUseStatement",
                                  "Observation", "Task",      "Provenance"};
constexpr const char* kTypesOfR5[] = {
    "Device", "Procedure", "DeviceUsage", "DeviceAssociation", "Observation", "Task", "Provenance"};

TEST(Profiles, HoldEveryTypeToWhatAllHaveInCommon) {
  const auto check = [](const std::string& pair, const char* type, FhirRelease release) {
    for (const Change& change : kForbiddenEverywhere) Expect(false, pair, type, change, release);
    for (const Change& change : kAllowedEverywhere) Expect(true, pair, type, change, release);
  };
  for (const FhirRelease release : kUpToR4B) {
    for (const char* type : kTypes) check("insertion/placed-full", type, release);
  }
  for (const char* type : kTypesOfR5) check("r5/insertion-placed-full", type, FhirRelease::kR5);
}

constexpr Change kInAnInsertion[] = {
    {"Device", "/identifier", ""},
    {"Device", "/identifier/1", ""},
    {"Device", "/identifier/0/system", ""},
    {"Device", "/identifier/0/value", ""},
    {"Device", "/status", ""},
    {"Device", "/status", R"("unknown")"},
    {"Device", "/statusReason", kTexts},
    {"Device", "/manufacturer", R"("x")"},
    {"Device", "/type", ""},
    {"Device", "/type/text", ""},
    {"Device", "/udiCarrier/0/entryType", R"("manual")"},
    {"Device", "/udiCarrier/0/modifierExtension", kExtension},
    {"Device", "/property/0/valueQuantity", ""},
    {"Device", "/property/0/valueCode", kTexts},
    {"Device", "/property/0/type/text", ""},
    {"Device", "/patient", ""},
    {"Device", "/patient", kPatient},
    {"Device", "/patient/type", ""},
    {"Device", "/patient/identifier", ""},
    {"Device", "/patient/identifier/system", ""},
    {"Device", "/patient/identifier/value", ""},
    {"Device", "/location", R"({"reference":"Location/1"})"},

    {"Procedure", "/identifier", ""},
    {"Procedure", "/status", R"("in-progress")"},
    {"Procedure", "/status", R"("unknown")"},
    {"Procedure", "/category", ""},
    {"Procedure", "/code", ""},
    {"Procedure", "/code/text", ""},
    {"Procedure", "/subject", kGroup},
    {"Procedure", "/subject", kPatient},
    {"Procedure", "/performedPeriod", ""},
    {"Procedure", "/performer", ""},
    {"Procedure", "/performer/0/actor", kUnit},
    {"Procedure", "/performer/0/actor/identifier", ""},
    {"Procedure", "/performer/0/onBehalfOf", R"({"reference":"Organization/1"})"},
    {"Procedure", "/performer/0/modifierExtension", kExtension},
    {"Procedure", "/reasonReference", kReferences},
    {"Procedure", "/complication", kTexts},
    {"Procedure", "/focalDevice/0/action", ""},
    {"Procedure", "/focalDevice/0/manipulated", kDisplay},
    {"Procedure", "/usedReference", R"([{"reference":"Device/1"}])"},

    {"DeviceUseStatement", "/identifier/1", ""},
    {"DeviceUseStatement", "/status", R"("intended")"},
    {"DeviceUseStatement", "/subject", kGroup},
    {"DeviceUseStatement", "/subject", kPatient},
    {"DeviceUseStatement", "/derivedFrom", ""},
    {"DeviceUseStatement", "/derivedFrom", R"([{"reference":"Claim/1"}])"},
    {"DeviceUseStatement", "/timingPeriod", ""},
    {"DeviceUseStatement", "/timingPeriod", kEnd},
    {"DeviceUseStatement", "/timingPeriod/end", R"("2026-04-01T10:00:00Z")"},
    {"DeviceUseStatement", "/status", R"("completed")"},
    {"DeviceUseStatement", "/recordedOn", ""},
    {"DeviceUseStatement", "/source", ""},
    {"DeviceUseStatement", "/source", kPatient},
    {"DeviceUseStatement", "/device", kDisplay},
    {"DeviceUseStatement", "/reasonCode", kTexts},
    {"DeviceUseStatement", "/bodySite", ""},

    {"Observation", "/identifier", ""},
    {"Observation", "/status", R"("preliminary")"},
    {"Observation", "/status", R"("cancelled")"},
    {"Observation", "/category", ""},
    {"Observation", "/code/text", ""},
    {"Observation", "/subject", ""},
    {"Observation", "/subject", kGroup},
    {"Observation", "/subject", kPatient},
    {"Observation", "/focus", R"([{"reference":"Patient/1"}])"},
    {"Observation", "/focus/0/reference", R"("Specimen/1")"},
    {"Observation", "/effectivePeriod", ""},
    {"Observation", "/issued", ""},
    {"Observation", "/performer", ""},
    {"Observation", "/performer/0", kUnit},
    {"Observation", "/performer/0/identifier/value", ""},
    {"Observation", "/valueString", R"("x")"},
    {"Observation", "/valueBoolean", "true"},
    {"Observation", "/dataAbsentReason", kText},
    {"Observation", "/interpretation", kTexts},
    {"Observation", "/device", R"({"reference":"Device/1"})"},
    {"Observation", "/hasMember", kReferences},
    {"Observation", "/derivedFrom", kReferences},
    {"Observation", "/partOf", R"([{"reference":"Immunization/1"}])"},
    {"Observation", "/component/0", R"({"code":{"text":"pain"}})"},
    {"Observation", "/component/0/dataAbsentReason", kText},
    {"Observation", "/component/0", R"({"code":{"text":"pain"},"valueTime":"10:00:00"})"},
    {"Observation", "/component/0/code/text", ""},
    {"Observation", "/component/0/modifierExtension", kExtension},
    {"Observation", "/component/0/interpretation", R"([{"text":"x"},{"text":"y"}])"},

    {"Task", "/identifier", ""},
    {"Task", "/identifier/0/value", ""},
    {"Task", "/status", R"("in-progress")"},
    {"Task", "/status", R"("draft")"},
    {"Task", "/intent", R"("proposal")"},
    {"Task", "/code", ""},
    {"Task", "/code/text", ""},
    {"Task", "/description", R"("x")"},
    {"Task", "/focus", kPatient},
    {"Task", "/for", ""},
    {"Task", "/for", kGroup},
    {"Task", "/for", kPatient},
    {"Task", "/executionPeriod", R"({"start":"2026-04-01"})"},
    {"Task", "/authoredOn", ""},
    {"Task", "/lastModified", ""},
    {"Task", "/requester", ""},
    {"Task", "/requester", R"({"reference":"Practitioner/1"})"},
    {"Task", "/restriction", ""},
    {"Task", "/restriction/period/end", ""},
    {"Task", "/restriction/period/start", ""},
    {"Task", "/restriction/repetitions", "1"},
    {"Task", "/input", R"([{"type":{"text":"x"},"valueString":"x"}])"},
    {"Task", "/output", R"([{"type":{"text":"x"},"valueReference":{"reference":"Procedure/1"}}])"},

    {"Provenance", "/target/0", kDisplay},
    {"Provenance", "/activity", ""},
    {"Provenance", "/location", R"({"reference":"Location/1"})"},
    {"Provenance", "/agent/0/who/identifier", ""},
    {"Provenance", "/agent/0/type", ""},
    {"Provenance", "/agent/0/onBehalfOf", R"({"reference":"Organization/1"})"},
    {"Provenance", "/agent/1/type", kText},
    {"Provenance", "/entity/0/role", R"("quotation")"},
    {"Provenance", "/entity/0/what", kPatient},
};

TEST(Profiles, ForbidInAnInsertionWhatFhirAllows) {
  for (const Change& change : kInAnInsertion) {
    for (const FhirRelease release : kUpToR4B) {
      Expect(false, "insertion/placed-full", change.type, change, release);
    }
  }
}

constexpr Change kInARemoval[] = {
    {"DeviceUseStatement", "/timingPeriod/end", ""},
    {"DeviceUseStatement", "/extension", ""},
    {"DeviceUseStatement", "/extension", kExtension},
    {"DeviceUseStatement", "/status", R"("active")"},
    {"Task", "/status", R"("requested")"},
    {"Task", "/output/0/valueReference", kDisplay},
    {"Task", "/output/0", R"({"type":{"text":"x"},"valueString":"x"})"},
    {"Procedure", "/reasonCode", R"([{"text":"x"},{"text":"y"}])"},
};

TEST(Profiles, ForbidInARemovalWhatFhirAllows) {
  for (const Change& change : kInARemoval) {
    for (const FhirRelease release : kUpToR4B) {
      Expect(false, "removal/phlebitis", change.type, change, release);
    }
  }
}

constexpr Change kInAnInsertionOfR5[] = {
    {"Device", "/identifier/1", ""},
    {"Device", "/status", ""},
    {"Device", "/type", ""},
    {"Device", "/property/0", R"({"type":{"text":"x"},"valueString":"x"})"},
    {"Device", "/property/0/modifierExtension", kExtension},
    {"DeviceAssociation", "/identifier/1", ""},
    {"DeviceAssociation", "/subject", ""},
    {"DeviceAssociation", "/subject", kGroup},
    {"DeviceAssociation", "/subject", kPatient},
    {"DeviceAssociation", "/device", kDisplay},
    {"DeviceAssociation", "/period", ""},
    {"DeviceAssociation", "/period", kEnd},
    {"DeviceAssociation", "/bodyStructure", R"({"reference":"BodyStructure/1"})"},
    {"DeviceUsage", "/status", R"("intended")"},
    {"DeviceUsage", "/status", R"("completed")"},
    {"DeviceUsage", "/patient", kPatient},
    {"DeviceUsage", "/derivedFrom", ""},
    {"DeviceUsage", "/timingPeriod", ""},
    {"DeviceUsage", "/timingPeriod/end", R"("2026-04-01T10:00:00Z")"},
    {"DeviceUsage", "/dateAsserted", ""},
    {"DeviceUsage", "/informationSource", ""},
    {"DeviceUsage", "/device", R"({"concept":{"text":"x"}})"},
    {"DeviceUsage", "/device/reference/reference", R"("DeviceDefinition/1")"},
    {"DeviceUsage", "/reason", R"([{"concept":{"text":"x"}}])"},
    {"DeviceUsage", "/bodySite", ""},
    {"DeviceUsage", "/bodySite", R"({"reference":{"reference":"BodyStructure/1"}})"},
    {"DeviceUsage", "/adherence", R"({"code":{"text":"x"},"reason":[{"text":"x"}]})"},
    {"Procedure", "/status", R"("in-progress")"},
    {"Procedure", "/occurrencePeriod", ""},
    {"Procedure", "/subject", kGroup},
    {"Procedure", "/performer", ""},
    {"Procedure", "/used/0", R"({"reference":{"reference":"Device/1"}})"},
    {"Observation", "/status", R"("preliminary")"},
    {"Observation", "/effectivePeriod", ""},
    {"Observation", "/subject", kGroup},
    {"Observation", "/subject", kPatient},
    {"Observation", "/valueString", R"("x")"},
    {"Observation", "/component/0", R"({"code":{"text":"pain"}})"},
    {"Observation", "/component/0/dataAbsentReason", kText},
    {"Task", "/status", R"("in-progress")"},
    {"Task", "/code", ""},
    {"Task", "/for", kPatient},
    {"Task", "/requestedPeriod", ""},
    {"Task", "/requestedPeriod/end", ""},
    {"Task", "/doNotPerform", "true"},
    {"Task", "/output", R"([{"type":{"text":"x"},"valueReference":{"reference":"Procedure/1"}}])"},
    {"Provenance", "/activity", ""},
    {"Provenance", "/agent/1/type", kText},
    {"Provenance", "/entity/0/role", R"("quotation")"},
};

constexpr Change kInARemovalOfR5[] = {
    {"DeviceUsage", "/timingPeriod/end", ""},
    {"DeviceUsage", "/usageReason", ""},
    {"DeviceUsage", "/status", R"("active")"},
    {"Procedure", "/reason/0", R"({"reference":{"reference":"Observation/1"}})"},
    {"Task", "/status", R"("requested")"},
};

TEST(Profiles, ForbidInR5WhatFhirAllows) {
  for (const Change& change : kInAnInsertionOfR5) {
    Expect(false, "r5/insertion-placed-full", change.type, change, FhirRelease::kR5);
  }
  for (const Change& change : kInARemovalOfR5) {
    Expect(false, "r5/removal-phlebitis", change.type, change, FhirRelease::kR5);
  }
}

constexpr Change kLeftToASite[] = {
    {"Device", "/owner", R"({"reference":"Organization/1"})"},
    {"Device", "/contact", R"([{"system":"phone","value":"1"}])"},
    {"Device", "/note", kTexts},
    {"Device", "/safety", kTexts},
    {"Procedure", "/note", kTexts},
    {"Procedure", "/report", R"([{"reference":"DocumentReference/1"}])"},
    {"Procedure", "/category/coding", R"([{"system":"u:s","code":"x"}])"},
    {"Observation", "/note", kTexts},
    {"Observation", "/basedOn", R"([{"reference":"CarePlan/1"}])"},
    {"Observation", "/component/0/extension", kExtension},
    {"Task", "/owner", kUnit},
    {"Task", "/basedOn", kReferences},
    {"Task", "/insurance", R"([{"reference":"Coverage/1"}])"},
    {"Provenance", "/policy", R"(["https://a.example/policy"])"},
};

TEST(Profiles, LeaveToASiteWhatSaysNothingOfTheLine) {
  for (const Change& change : kLeftToASite) {
    for (const FhirRelease release : kUpToR4B) {
      Expect(true, "insertion/placed-full", change.type, change, release);
    }
  }
  Expect(true, "r5/insertion-placed-full", "DeviceUsage", {"DeviceUsage", "/note", kTexts},
         FhirRelease::kR5);
  Expect(true, "r5/insertion-placed-full", "Task", {"Task", "/owner", kUnit}, FhirRelease::kR5);
}

// A task that no longer follows from the events may lack what it was about, and only such a one.
TEST(Profiles, ATaskInErrorNeedNotSayWhatItWas) {
  const char* in_error =
      R"({"resourceType":"Task","id":"1","meta":{"source":"u:s"},"text":{"status":"generated",)"
      R"("div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">x</div>"},"status":"entered-in-error",)"
      R"("intent":"order","for":{"type":"Patient","identifier":{"system":"u:s","value":"1"}},)"
      R"("authoredOn":"2026-01-02T03:04:05Z","lastModified":"2026-01-02T03:04:05Z","requester":)"
      R"({"type":"Device","identifier":{"system":"u:s","value":"1"}}})";
  EXPECT_EQ(FaultsOf(in_error, FhirRelease::kR4, Structure::kProfiles), "");
  std::string due = in_error;
  due.replace(due.find("entered-in-error"), std::string_view("entered-in-error").size(), "ready");
  EXPECT_EQ(FaultsOf(due, FhirRelease::kR4, Structure::kFhir), "");
  EXPECT_NE(FaultsOf(due, FhirRelease::kR4, Structure::kProfiles), "");
}

}  // namespace
}  // namespace dwell::schemas
