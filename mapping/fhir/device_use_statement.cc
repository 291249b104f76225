// The dwell record: which line the patient has or had, where, from when until when, and why it
// ended. R5 calls it DeviceUsage.
#include <variant>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {
namespace {

/// R4 has no element for why the use ended; the core extension event-statusReason names
/// DeviceUseStatement as its context.
void WriteEndReasonR4(Draft& draft, const event::Removal& removal) {
  JsonWriter& json = draft.json();
  json.Name("extension");
  json.BeginArray();
  json.BeginObject();
  json.Member("url", "http://hl7.org/fhir/StructureDefinition/event-statusReason");
  draft.Coded("valueCodeableConcept", "reason", removal.reason, "Why it ended");
  json.EndObject();
  json.EndArray();
}

void WriteEndReasonR5(Draft& draft, const event::Removal& removal) {
  JsonWriter& json = draft.json();
  const codes::Found why = draft.codes().Find("reason", removal.reason);
  json.Name("usageReason");
  json.BeginArray();
  WriteConcept(json, *why);
  json.EndArray();
  draft.Tell("Why it ended", why->text);
}

void WriteDevice(Draft& draft, std::string_view id) {
  if (!draft.scope().r5()) return draft.Refer("device", "Device", id);
  draft.json().Name("device");  // a CodeableReference
  draft.json().BeginObject();
  draft.Refer("reference", "Device", id);
  draft.json().EndObject();
}

}  // namespace

void MakeDeviceUse(Draft& draft) {
  const Item& item = draft.item();
  const Scope& scope = draft.scope();
  const event::Event& event = *item.entry->event;
  const auto& insertion = std::get<event::Insertion>(event.body);
  const event::Event* removal = item.partner != nullptr ? item.partner->event.get() : nullptr;
  JsonWriter& json = draft.json();
  const bool r5 = scope.r5();
  if (removal != nullptr && !r5) {
    WriteEndReasonR4(draft, std::get<event::Removal>(removal->body));
  }
  json.Name("derivedFrom");
  json.BeginArray();
  WriteReference(json, "Procedure", scope.IdOf(*item.entry, Role::kInsertion));
  if (removal != nullptr) {
    WriteReference(json, "Procedure", scope.IdOf(*item.partner, Role::kRemoval));
  }
  json.EndArray();
  const std::string_view use = removal != nullptr ? "completed" : "active";
  json.Member("status", item.in_error ? "entered-in-error" : use);
  draft.Patient(r5 ? "patient" : "subject", event.patient);
  if (r5 && event.encounter) draft.Encounter(event, "context");
  json.Name("timingPeriod");
  WritePeriod(json, event.happened.text, removal != nullptr ? removal->happened.text : "");
  json.Member(r5 ? "dateAsserted" : "recordedOn", event.recorded_at.text);
  if (removal != nullptr && r5) {
    WriteEndReasonR5(draft, std::get<event::Removal>(removal->body));
  }
  json.Name(r5 ? "informationSource" : "source");
  WriteStaff(json, event.staff.front());
  WriteDevice(draft, scope.IdOf(*item.entry, Role::kDevice));
  draft.Tell("Kind", draft.codes().Find("line-kind", insertion.line->kind)->text);
  json.Name("bodySite");
  draft.Codeable([&] { draft.BodySite(*insertion.site); });
  draft.Tell("Put in", ReadableTime(event.happened.text));
  if (removal != nullptr) draft.Tell("Taken out", ReadableTime(removal->happened.text));
  draft.Tell("Line", event.line_id);
}

}  // namespace dwell::fhir
