// The line itself as a Device: one for each placed insertion, active while it is in the patient.
// From R5 on a DeviceAssociation says whose it is.
#include <openssl/evp.h>

#include <variant>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {
namespace {

std::string Base64(std::string_view bytes) {
  std::string text((bytes.size() + 2) / 3 * 4 + 1, '\0');
  const auto* in = reinterpret_cast<const unsigned char*>(bytes.data());
  const int length = EVP_EncodeBlock(reinterpret_cast<unsigned char*>(text.data()), in,
                                     static_cast<int>(bytes.size()));
  text.resize(static_cast<std::size_t>(length));
  return text;
}

/// Who issues the identifiers, as FHIR names them (hl7.org/fhir/R4/device.html, udiCarrier.issuer).
std::string_view IssuerUri(event::UdiIssuer issuer) {
  switch (issuer) {
    case event::UdiIssuer::kGs1:
      return "http://hl7.org/fhir/NamingSystem/gs1";
    case event::UdiIssuer::kHibcc:
      return "http://hl7.org/fhir/NamingSystem/hibcc";
    case event::UdiIssuer::kUnknown:
      break;
  }
  return {};
}

/// DeviceAssociation.status (R5, required binding deviceassociation-status).
struct Hl7Status {
  std::string_view code, display;
};
constexpr Hl7Status kImplanted = {"implanted", "Implanted"};
constexpr Hl7Status kExplanted = {"explanted", "Explanted"};
constexpr Hl7Status kInError = {"entered-in-error", "Entered in Error"};

void WriteStatus(JsonWriter& json, const Hl7Status& status) {
  json.BeginObject();
  json.Name("coding");
  json.BeginArray();
  json.BeginObject();
  json.Member("system", "http://hl7.org/fhir/deviceassociation-status");
  json.Member("code", status.code);
  json.Member("display", status.display);
  json.EndObject();
  json.EndArray();
  json.EndObject();
}

/// Member `name`; R5 asks for it even where the scan does not tell it, and takes the reason
/// instead.
void WriteOrUnknown(Draft& draft, const std::string& name, std::string_view value,
                    std::string_view label = {}) {
  draft.Text(name, value, label);
  if (!value.empty() || !draft.scope().r5()) return;
  draft.json().MemberRaw("_" + name,
                         R"({"extension":[{"url":)"
                         R"("http://hl7.org/fhir/StructureDefinition/data-absent-reason",)"
                         R"("valueCode":"unknown"}]})");
}

/// The carrier as scanned. What a scanner sends is for machines, and its separators are illegal in
/// a FHIR string: it goes out as base64 of its bytes.
void WriteUdi(Draft& draft, const std::string& scanned, const event::Udi& parts) {
  if (scanned.empty()) return;
  JsonWriter& json = draft.json();
  json.Name("udiCarrier");
  json.BeginArray();
  json.BeginObject();
  WriteOrUnknown(draft, "deviceIdentifier", parts.device, "Device identifier");
  WriteOrUnknown(draft, "issuer", IssuerUri(parts.issuer));
  if (event::IsScannerForm(scanned)) {
    json.Member("carrierAIDC", Base64(scanned));
  } else {
    json.Member("carrierHRF", scanned);
  }
  json.Member("entryType", "barcode");
  json.EndObject();
  json.EndArray();
}

/// One entry of Device.property: in R4 with a list of quantities, in R5 with one.
void WriteProperty(Draft& draft, std::string_view code, std::string_view number, const Unit& unit) {
  JsonWriter& json = draft.json();
  json.BeginObject();
  const codes::Found type = draft.codes().Find("device-property", code);
  json.Name("type");
  WriteConcept(json, *type);
  json.Name("valueQuantity");
  if (draft.scope().r5()) {
    WriteQuantity(json, number, unit);
  } else {
    json.BeginArray();
    WriteQuantity(json, number, unit);
    json.EndArray();
  }
  json.EndObject();
  draft.Tell(type->text, std::string(number).append(" ").append(unit.text));
}

void WriteProperties(Draft& draft, const event::LineDescription& line) {
  if (!line.gauge && !line.french && !line.length_mm) return;
  draft.json().Name("property");
  draft.json().BeginArray();
  if (line.gauge)
    WriteProperty(draft, "gauge", std::to_string(*line.gauge), {"G", ""});  // not in UCUM
  if (line.french) WriteProperty(draft, "french", line.french->text, {"Ch", "[Ch]"});
  if (line.length_mm) WriteProperty(draft, "length", line.length_mm->text, {"mm", "mm"});
  draft.json().EndArray();
}

}  // namespace

void MakeDevice(Draft& draft) {
  const Item& item = draft.item();
  const event::Event& event = *item.entry->event;
  const auto& line = *std::get<event::Insertion>(event.body).line;
  JsonWriter& json = draft.json();
  const event::Udi no_udi;
  const event::Udi& parts = line.udi_parts ? *line.udi_parts : no_udi;
  WriteUdi(draft, line.udi, parts);
  const std::string_view in_patient = item.partner != nullptr ? "inactive" : "active";
  json.Member("status", item.in_error ? "entered-in-error" : in_patient);
  // What staff entered goes before what the carrier says; the two agree where both speak.
  draft.Text("manufactureDate", parts.produced, "Made");
  draft.Text("expirationDate", line.expiry.empty() ? parts.expires : line.expiry, "Expires");
  draft.Text("lotNumber", line.lot.empty() ? parts.lot : line.lot, "Lot");
  draft.Text("serialNumber", parts.serial, "Serial number");
  draft.CodedOnce("type", "line-kind", line.kind, "Kind");
  WriteProperties(draft, line);
  if (!draft.scope().r5()) draft.Patient("patient", event.patient);
  draft.TellEvent(event);
  if (item.partner != nullptr)
    draft.Tell("Removed", ReadableTime(item.partner->event->happened.text));
}

void MakeAssociation(Draft& draft) {
  const Item& item = draft.item();
  const event::Event& event = *item.entry->event;
  const event::Event* removal = item.partner != nullptr ? item.partner->event.get() : nullptr;
  JsonWriter& json = draft.json();
  draft.Refer("device", "Device", draft.scope().IdOf(*item.entry, Role::kDevice));
  // Of the codes that R5 requires here only this pair can say that a line is out again.
  const Hl7Status& in_patient = removal != nullptr ? kExplanted : kImplanted;
  json.Name("status");
  WriteStatus(json, item.in_error ? kInError : in_patient);
  draft.Patient("subject", event.patient);
  json.Name("period");
  WritePeriod(json, event.happened.text, removal != nullptr ? removal->happened.text : "");
  draft.Tell("Put in", ReadableTime(event.happened.text));
  if (removal != nullptr) draft.Tell("Taken out", ReadableTime(removal->happened.text));
  draft.Tell("Line", event.line_id);
}

}  // namespace dwell::fhir
