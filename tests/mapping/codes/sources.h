// Where each code of the maps comes from: looked up in the source named beside it, never
// remembered.
#pragma once

#include <algorithm>
#include <cstddef>
#include <iterator>
#include <string_view>

#include "mapping/codes/check_digits.h"

namespace dwell::codes {

inline constexpr std::string_view kDicom = "http://dicom.nema.org/resources/ontology/DCM";

inline constexpr std::string_view kGps =
    "SNOMED CT Global Patient Set of 2020-07-31 (CC BY 4.0): package hl7.terminology.r4 7.0.1, "
    "ValueSet snomed-intl-gps";
inline constexpr std::string_view kHl7Terminology =
    "package hl7.terminology.r4 7.0.1, CodeSystems (CC0)";
inline constexpr std::string_view kR4Spec = "HL7 FHIR R4 4.0.1, CodeSystem device-action";
inline constexpr std::string_view kR4Expansions = "package hl7.fhir.r4.expansions 4.0.1";
inline constexpr std::string_view kR4Examples = "package hl7.fhir.r4.examples 4.0.1";
inline constexpr std::string_view kDicomPart16 =
    "DICOM PS3.16, as in pydicom/pydicom src/pydicom/sr/_concepts_dict.py";
inline constexpr std::string_view kServerChecked =
    "GitHub aehrc/mimic-profiles, concept maps checked there against a terminology server";
inline constexpr std::string_view kDataDictionary =
    "GitHub indicate-eu/data-dictionary, concept_sets_resolved/291.json and 31.json";
inline constexpr std::string_view kEms =
    "GitHub peakresponse/nemsis_public, DefinedLists/Procedure/Procedure.csv";
inline constexpr std::string_view kBelgium =
    "GitHub hl7-be/patient-monitoring, value sets expanded on build.fhir.org (one source)";
inline constexpr std::string_view kParamedicine =
    "GitHub IHE/PCC.PCS, input/fsh/IHE Paramedicine Value Sets.fsh";
inline constexpr std::string_view kPublicFsh = "public FSH value sets and query test data (weak)";
inline constexpr std::string_view kSwissTerms =
    "GitHub hl7ch/ch-term, allergy and ingredient value sets";
inline constexpr std::string_view kIcuValueSet = "value set of the German MII ICU module; IHE PCS";

struct SourcedCode {
  std::string_view system, code, display, source;
};

/// Everything the free map may use. SNOMED CT codes only from the Global Patient Set.
inline constexpr SourcedCode kFreeCodes[] = {
    {kDicom, "111465", "Needle Gauge", kDicomPart16},
    {kDicom, "122319", "Catheter Size", kDicomPart16},
    {"http://hl7.org/fhir/device-action", "explanted", "Explanted", kR4Spec},
    {"http://hl7.org/fhir/device-action", "implanted", "Implanted", kR4Spec},
    {"http://hl7.org/fhir/device-action", "manipulated", "Manipulated", kR4Spec},
    {kLoinc, "20228-3", "Anatomic part Laterality", kServerChecked},
    {kLoinc, "67543-9", "Procedure attempts [#]", kServerChecked},
    {kLoinc, "72514-3", "Pain severity - 0-10 verbal numeric rating [Score] - Reported",
     kIcuValueSet},
    {kLoinc, "8310-5", "Body temperature", kR4Examples},
    {kSnomedCt, "103709008", "Failed attempted procedure (situation)", kGps},
    {kSnomedCt, "105480006", "Refusal of treatment by patient", kGps},
    {kSnomedCt, "106292003", "Professional nurse", kGps},
    {kSnomedCt, "12123001", "Structure of internal jugular vein", kGps},
    {kSnomedCt, "128553008", "Structure of antecubital vein", kGps},
    {kSnomedCt, "14975008", "Forearm structure", kGps},
    {kSnomedCt, "17957002", "Skin structure of antecubital fossa", kGps},
    {kSnomedCt, "183946001", "Procedure refused - uncooperative", kGps},
    {kSnomedCt, "18949003", "Change of dressing", kGps},
    {kSnomedCt, "19715009", "Structure of basilic vein", kGps},
    {kSnomedCt, "20115005", "Structure of brachial vein", kGps},
    {kSnomedCt, "20699002", "Structure of cephalic vein", kGps},
    {kSnomedCt, "224535009", "Registered nurse", kGps},
    {kSnomedCt, "233527006", "Central venous cannula insertion", kGps},
    {kSnomedCt, "233553003", "Vascular cannula removal", kGps},
    {kSnomedCt, "24028007", "Right (qualifier value)", kGps},
    {kSnomedCt, "247441003", "Erythema", kGps},
    {kSnomedCt, "2477008", "Superficial thrombophlebitis", kGps},
    {kSnomedCt, "2667000", "Absent", kGps},
    {kSnomedCt, "277132007", "Therapeutic procedure", kGps},
    {kSnomedCt, "281642007", "Skin of part of dorsal surface of hand", kGps},
    {kSnomedCt, "309343006", "Physician", kGps},
    {kSnomedCt, "310643001", "Infection of intravenous catheter", kGps},
    {kSnomedCt, "373066001", "Yes", kGps},
    {kSnomedCt, "373067005", "No", kGps},
    {kSnomedCt, "373757009", "Sodium chloride solution (substance)", kGps},
    {kSnomedCt, "386493006", "Venous access device maintenance", kGps},
    {kSnomedCt, "386661006", "Fever", kGps},
    {kSnomedCt, "398013009", "Implantable venous access port", kGps},
    {kSnomedCt, "40983000", "Structure of upper extremity between shoulder and elbow", kGps},
    {kSnomedCt, "41695006", "Scalp structure", kGps},
    {kSnomedCt, "425196008", "Insertion of peripherally inserted central catheter", kGps},
    {kSnomedCt, "429446009", "Insertion of vascular catheter", kGps},
    {kSnomedCt, "442309004", "Insertion of tunneled venous catheter", kGps},
    {kSnomedCt, "49852007", "Structure of median cubital vein", kGps},
    {kSnomedCt, "52101004", "Present", kGps},
    {kSnomedCt, "52124006", "Central venous catheter, device", kGps},
    {kSnomedCt, "56459004", "Foot structure", kGps},
    {kSnomedCt, "60734001", "Structure of great saphenous vein", kGps},
    {kSnomedCt, "61599003", "Phlebitis", kGps},
    {kSnomedCt, "65124004", "Swelling", kGps},
    {kSnomedCt, "68705008", "Structure of axillary vein", kGps},
    {kSnomedCt, "71585003", "Structure of external jugular vein", kGps},
    {kSnomedCt, "7771000", "Left (qualifier value)", kGps},
    {kSnomedCt, "79068005", "Needle, device", kGps},
    {kSnomedCt, "8205005", "Wrist region structure", kGps},
    {kSnomedCt, "82449006", "Peripheral intravenous catheter, device", kGps},
    {kSnomedCt, "83419000", "Structure of femoral vein", kGps},
    {kSnomedCt, "85562004", "Hand structure", kGps},
    {kSnomedCt, "95381006", "Injection site infection", kGps},
    {kSnomedCt, "95384003", "Injection site extravasation", kGps},
    {kSnomedCt, "95385002", "Injection site hemorrhage", kGps},
    {kSnomedCt, "95386001", "Injection site thrombosis", kGps},
    {kSnomedCt, "95388000", "Injection site pain", kGps},
    {kSnomedCt, "95401009", "Injection site bruising", kGps},
    {kSnomedCt, "95402002", "Injection site induration", kGps},
    {"http://terminology.hl7.org/CodeSystem/data-absent-reason", "unknown", "Unknown",
     kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "LACF", "Left Antecubital Fossa",
     kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "LEJ", "Left External Jugular",
     kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "LF", "Left Foot", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "LH", "Left Hand", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "LUA", "Left Upper Arm", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "RACF", "Right Antecubital Fossa",
     kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "REJ", "Right External Jugular",
     kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "RF", "Right Foot", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "RH", "Right Hand", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0163", "RUA", "Right Upper Arm", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0925", "CLT", "Clotted", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v2-0925", "INF", "Infiltration", kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v3-EntityCode", "IALINE", "Intra-arterial Line",
     kHl7Terminology},
    {"http://terminology.hl7.org/CodeSystem/v3-EntityCode", "IVLINE", "Intraveneous Line",
     kHl7Terminology},
};

/// What the licensed map adds.
inline constexpr SourcedCode kLicensedCodes[] = {
    {kSnomedCt, "1156071007", "Catheter observable (observable entity)", kBelgium},
    {kSnomedCt, "1230246000", "Replacement of dressing of insertion site of vascular catheter",
     kServerChecked},
    {kSnomedCt, "129303008", "Removal - action", kR4Expansions},
    {kSnomedCt, "129332006", "Irrigation - action", kR4Expansions},
    {kSnomedCt, "1344705000", "Midline catheter (physical object)", kBelgium},
    {kSnomedCt, "175853000", "Removal of central venous line", kDataDictionary},
    {kSnomedCt, "22335008", "Structure of left foot", kPublicFsh},
    {kSnomedCt, "233520008", "Peripheral venous cannula insertion", kServerChecked},
    {kSnomedCt, "257867005", "Insertion - action", kR4Expansions},
    {kSnomedCt, "259268001", "Isopropyl alcohol (substance)", kSwissTerms},
    {kSnomedCt, "266757004", "Medical contraindication to procedure", kR4Expansions},
    {kSnomedCt, "368208006", "Left upper arm structure", kParamedicine},
    {kSnomedCt, "368209003", "Right upper arm structure", kParamedicine},
    {kSnomedCt, "373568007", "Chlorhexidine (substance)", kSwissTerms},
    {kSnomedCt, "385669000", "Successful", kR4Expansions},
    {kSnomedCt, "385671000", "Unsuccessful", kR4Expansions},
    {kSnomedCt, "386746003", "Maintenance - action", kR4Expansions},
    {kSnomedCt, "386989006", "Povidone iodine (substance)", kSwissTerms},
    {kSnomedCt, "392247006", "Insertion of catheter into artery", kEms},
    {kSnomedCt, "398176008", "Peripherally inserted central catheter", kDataDictionary},
    {kSnomedCt, "424287005", "Removal of peripheral intravenous catheter", kServerChecked},
    {kSnomedCt, "424606007", "Removal of peripherally inserted central catheter", kDataDictionary},
    {kSnomedCt, "430477008", "Octenidine (substance)", kSwissTerms},
    {kSnomedCt, "439377004", "Accidental removal of catheter", kServerChecked},
    {kSnomedCt, "445085009", "Tunneled central venous catheter", kDataDictionary},
    {kSnomedCt, "445520006", "Visual infusion phlebitis score", kServerChecked},
    {kSnomedCt, "449859004", "Nontunneled central venous catheter", kDataDictionary},
    {kSnomedCt, "450330005", "Removal of tunneled central venous catheter", kDataDictionary},
    {kSnomedCt, "5951000", "Structure of left wrist region", kR4Expansions},
    {kSnomedCt, "63125000", "Structure of dorsum of hand", kPublicFsh},
    {kSnomedCt, "64262003", "Structure of right forearm", kParamedicine},
    {kSnomedCt, "66480008", "Structure of left forearm", kParamedicine},
    {kSnomedCt, "75192006", "Arterial cannula", kR4Expansions},
    {kSnomedCt, "7769000", "Structure of right foot", kR4Expansions},
    {kSnomedCt, "78791008", "Structure of right hand", kPublicFsh},
    {kSnomedCt, "789218009", "Structure of dorsum of left hand", kParamedicine},
    {kSnomedCt, "789219001", "Structure of dorsum of right hand", kParamedicine},
    {kSnomedCt, "85151006", "Structure of left hand", kR4Examples},
    {kSnomedCt, "9736006", "Structure of right wrist region", kR4Expansions},
};

/// Whether the table has this code with exactly this display.
template <std::size_t kSize>
bool Lists(const SourcedCode (&table)[kSize], std::string_view system, std::string_view code,
           std::string_view display) {
  return std::any_of(std::begin(table), std::end(table), [&](const SourcedCode& row) {
    return row.system == system && row.code == code && row.display == display;
  });
}

/// Seen in public for lines, and wrong: a failing check digit, another meaning, or a national
/// extension.
inline constexpr std::string_view kRejected[] = {
    "450540002", "19949000",      "736919006", "225749003", "788163003", "233523003",
    "303132006", "43937704",      "40493441",  "442093003", "233529009", "233530004",
    "52475004",  "1481000124102", "103714007", "312133006", "99716-3",   "392231009"};

}  // namespace dwell::codes
