// The line itself as a Device: one for each placed insertion, active while it is in the patient.
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

/// The carrier as scanned. What a scanner sends is for machines, and its separators are illegal in
/// a FHIR string: it goes out as base64 of its bytes.
void WriteUdi(Draft& draft, const std::string& scanned, const event::Udi& parts) {
  if (scanned.empty()) return;
  JsonWriter& json = draft.json();
  json.Name("udiCarrier");
  json.BeginArray();
  json.BeginObject();
  draft.Text("deviceIdentifier", parts.device, "Device identifier");
  draft.Text("issuer", IssuerUri(parts.issuer));
  if (event::IsScannerForm(scanned)) {
    json.Member("carrierAIDC", Base64(scanned));
  } else {
    json.Member("carrierHRF", scanned);
  }
  json.Member("entryType", "barcode");
  json.EndObject();
  json.EndArray();
}

/// One entry of Device.property.
void WriteProperty(Draft& draft, std::string_view code, std::string_view number, const Unit& unit) {
  JsonWriter& json = draft.json();
  json.BeginObject();
  const codes::Found type = draft.codes().Find("device-property", code);
  json.Name("type");
  WriteConcept(json, *type);
  json.Name("valueQuantity");
  json.BeginArray();
  WriteQuantity(json, number, unit);
  json.EndArray();
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
  draft.Coded("type", "line-kind", line.kind, "Kind");
  WriteProperties(draft, line);
  draft.Patient("patient", event.patient);
  draft.TellEvent(event);
  if (item.partner != nullptr)
    draft.Tell("Removed", ReadableTime(item.partner->event->happened.text));
}

}  // namespace dwell::fhir
