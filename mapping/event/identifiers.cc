#include "mapping/event/identifiers.h"

#include <array>

#include "mapping/event/identifier_rules.h"

namespace dwell::event {
namespace {

struct System {
  std::string_view uri;
  bool (*passes)(std::string_view value);
  Verdict otherwise;
  std::string_view expected;
};

constexpr std::string_view kNhsNumber = "https://fhir.nhs.uk/Id/nhs-number";

constexpr Verdict kFails = Verdict::kFails;
constexpr Verdict kDoubtful = Verdict::kDoubtful;

constexpr std::string_view kNhsWords = "an NHS number: ten digits, the last one its check digit";
constexpr std::string_view kHcnWords =
    "a Health and Care number: ten digits, the last one its check digit";
constexpr std::string_view kIhiWords =
    "an Individual Healthcare Identifier: 16 digits from 800360 on, the last one its check digit";
constexpr std::string_view kNhiWords =
    "an NHI number: three letters, then two digits and a letter, or three digits, and a right "
    "check "
    "character";
constexpr std::string_view kNorwayWords =
    "eleven digits, the last two its check digits (fødselsnummer, D-number)";
constexpr std::string_view kSwedenWords = "a personnummer: YYMMDD-NNNC with a right check digit";
constexpr std::string_view kNirWords =
    "a NIR: 13 characters and their key of two digits, without blanks";

// The source of each rule stands with its function in identifier_rules.h; here that of the address
// under which the number travels in FHIR. Not here: the Irish health identifier, for which no
// published address is known.
constexpr std::array kSystems = {
    // NHS Data Model and Dictionary; UK Core.
    System{kNhsNumber, IsNhsNumber, kFails, kNhsWords},
    // Object identifiers of HL7 UK, as published.
    System{"urn:oid:2.16.840.1.113883.2.1.3.2.4.16.53", IsChiNumber, kFails,
           "a CHI number: DDMMYY of a day that exists, three digits and a right check digit"},
    // The first in a draft guide of the UK (CodeSystem NationalHealthIdentifiers), the second from
    // memory.
    System{"https://fhir.nhs.uk/Id/hsc-number", IsHealthAndCareNumber, kFails, kHcnWords},
    System{"https://fhir.hscni.net/Id/hcn", IsHealthAndCareNumber, kFails, kHcnWords},
    // HL7 AU Base, and the object identifier.
    System{"http://ns.electronichealth.net.au/id/hi/ihi/1.0", IsAustralianIhi, kFails, kIhiWords},
    System{"urn:oid:1.2.36.1.2001.1003.0", IsAustralianIhi, kFails, kIhiWords},
    // Examples of New Zealand's FHIR guides, and the object identifier.
    System{"https://standards.digital.health.nz/ns/nhi-id", IsNhiNumber, kFails, kNhiWords},
    System{"urn:oid:2.16.840.1.113883.2.18.2", IsNhiNumber, kFails, kNhiWords},
    // As queries of Dutch guides write it.
    System{"http://fhir.nl/fhir/NamingSystem/bsn", IsDutchBsn, kFails,
           "a burgerservicenummer: nine digits that pass its test by eleven"},
    // Norwegian value set of national numbers: fødselsnummer, D-number, shared H-number. That the
    // last one follows the same rule is from memory: it is not refused.
    System{"urn:oid:2.16.578.1.12.4.1.4.1", IsNorwegianNumber, kFails, kNorwayWords},
    System{"urn:oid:2.16.578.1.12.4.1.4.2", IsNorwegianNumber, kFails, kNorwayWords},
    System{"urn:oid:2.16.578.1.12.4.1.4.3", IsNorwegianNumber, kDoubtful,
           "eleven digits, the last two its check digits, which may not hold for every H-number"},
    // Swedish service contracts (object identifier) and FHIR guides.
    System{"urn:oid:1.2.752.129.2.1.3.1", IsSwedishNumber, kFails, kSwedenWords},
    System{"http://electronichealth.se/identifier/personnummer", IsSwedishNumber, kFails,
           kSwedenWords},
    // Danish Core and MedCom guides. Since 2007 numbers without a right check digit are issued.
    System{"urn:oid:1.2.208.176.1.2", IsDanishCpr, kDoubtful,
           "a CPR number with a right check digit; numbers issued since 2007 may have none"},
    // INS: NIR as French guides write it; NIA, test and demonstration from memory.
    System{"urn:oid:1.2.250.1.213.1.4.8", IsFrenchNir, kFails, kNirWords},
    System{"urn:oid:1.2.250.1.213.1.4.9", IsFrenchNir, kFails, kNirWords},
    System{"urn:oid:1.2.250.1.213.1.4.10", IsFrenchNir, kFails, kNirWords},
    System{"urn:oid:1.2.250.1.213.1.4.11", IsFrenchNir, kFails, kNirWords},
    // FHIR R4, known identifier systems, from memory. It has no check digit.
    System{"http://hl7.org/fhir/sid/us-ssn", IsUsSsn, kDoubtful,
           "a social security number of the form that is issued; it has no check digit, and a "
           "hospital's own number is safer"},
};

const System* FindSystem(std::string_view uri) {
  for (const System& row : kSystems) {
    if (row.uri == uri) return &row;
  }
  return nullptr;
}

/// Zeros alone pass every sum, and stand for nobody, or for everybody not known.
bool OnlyZeros(std::string_view value) {
  return value.find_first_not_of("0-+ ") == std::string_view::npos;
}

Verdict Judge(const System& row, std::string_view value) {
  return !OnlyZeros(value) && row.passes(value) ? Verdict::kPasses : row.otherwise;
}

/// What to say at `pointer` if the number gets this verdict.
std::optional<Problem> ProblemOf(std::string_view system, std::string_view value,
                                 std::string_view pointer, Verdict verdict) {
  const System* const row = FindSystem(system);
  if (row == nullptr || Judge(*row, value) != verdict) return std::nullopt;
  return Problem{std::string(pointer), "check-digit",
                 std::string(row->expected) +
                     "; a slip of one digit may name another patient: compare with the patient's "
                     "own identity band"};
}

}  // namespace

Verdict JudgeIdentifier(std::string_view system, std::string_view value) {
  const System* const row = FindSystem(system);
  return row == nullptr ? Verdict::kUnknownSystem : Judge(*row, value);
}

std::string NormalIdentifier(std::string_view system, std::string_view value) {
  return system == kNhsNumber ? WithoutNhsSeparators(value) : std::string(value);
}

std::optional<Problem> CheckIdentifier(std::string_view system, std::string_view value,
                                       std::string_view pointer) {
  return ProblemOf(system, value, pointer, Verdict::kFails);
}

std::vector<Doubt> DoubtsAbout(const Patient& patient) {
  std::vector<Doubt> doubts;
  const auto look = [&doubts](std::string_view system, std::string_view value,
                              std::string_view pointer) {
    if (auto problem = ProblemOf(system, value, pointer, Verdict::kDoubtful)) {
      doubts.push_back({system, *std::move(problem)});
    }
  };
  look(patient.system, patient.value, "/patient/value");
  if (patient.second) look(patient.second->system, patient.second->value, "/patient/second/value");
  return doubts;
}

}  // namespace dwell::event
