// The line itself as a Device: one for each placed insertion, active while it is in the patient.
#include <openssl/evp.h>

#include <algorithm>
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

/// The carrier as scanned. A scan with group separators is no legal FHIR string: it goes out as the
/// machine-readable form, whose bytes are base64.
void WriteUdi(Draft& draft, const std::string& udi) {
  if (udi.empty()) return;
  JsonWriter& json = draft.json();
  const bool has_control =
      std::ranges::any_of(udi, [](char c) { return static_cast<unsigned char>(c) < 0x20; });
  json.Name("udiCarrier");
  json.BeginArray();
  json.BeginObject();
  json.Member(has_control ? "carrierAIDC" : "carrierHRF", has_control ? Base64(udi) : udi);
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
  WriteUdi(draft, line.udi);
  const std::string_view in_patient = item.partner != nullptr ? "inactive" : "active";
  json.Member("status", item.in_error ? "entered-in-error" : in_patient);
  draft.Text("expirationDate", line.expiry, "Expires");
  draft.Text("lotNumber", line.lot, "Lot");
  draft.Coded("type", "line-kind", line.kind, "Kind");
  WriteProperties(draft, line);
  draft.Patient("patient", event.patient);
  draft.TellEvent(event);
  if (item.partner != nullptr)
    draft.Tell("Removed", ReadableTime(item.partner->event->happened.text));
}

}  // namespace dwell::fhir
