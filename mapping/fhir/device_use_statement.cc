// The dwell record: which line the patient has or had, where, from when until when, and why it
// ended.
#include <variant>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {
namespace {

/// R4 has no element for why the use ended; the core extension event-statusReason names
/// DeviceUseStatement as its context.
void WriteEndReason(Draft& draft, const event::Removal& removal) {
  JsonWriter& json = draft.json();
  json.Name("extension");
  json.BeginArray();
  json.BeginObject();
  json.Member("url", "http://hl7.org/fhir/StructureDefinition/event-statusReason");
  draft.Coded("valueCodeableConcept", "reason", removal.reason, "Why it ended");
  json.EndObject();
  json.EndArray();
}

}  // namespace

void MakeDeviceUse(Draft& draft) {
  const Item& item = draft.item();
  const Scope& scope = draft.scope();
  const event::Event& event = *item.entry->event;
  const auto& insertion = std::get<event::Insertion>(event.body);
  const event::Event* removal = item.partner != nullptr ? item.partner->event.get() : nullptr;
  JsonWriter& json = draft.json();
  if (removal != nullptr) WriteEndReason(draft, std::get<event::Removal>(removal->body));
  json.Name("derivedFrom");
  json.BeginArray();
  WriteReference(json, "Procedure", scope.IdOf(*item.entry, Role::kInsertion));
  if (removal != nullptr) {
    WriteReference(json, "Procedure", scope.IdOf(*item.partner, Role::kRemoval));
  }
  json.EndArray();
  const std::string_view use = removal != nullptr ? "completed" : "active";
  json.Member("status", item.in_error ? "entered-in-error" : use);
  draft.Patient("subject", event.patient);
  json.Name("timingPeriod");
  WritePeriod(json, event.happened.text, removal != nullptr ? removal->happened.text : "");
  json.Member("recordedOn", event.recorded_at.text);
  json.Name("source");
  WriteStaff(json, event.staff.front());
  draft.Refer("device", "Device", scope.IdOf(*item.entry, Role::kDevice));
  draft.Tell("Kind", draft.codes().Find("line-kind", insertion.line->kind)->text);
  json.Name("bodySite");
  draft.BodySite(*insertion.site);
  draft.Tell("Put in", ReadableTime(event.happened.text));
  if (removal != nullptr) draft.Tell("Taken out", ReadableTime(removal->happened.text));
  draft.Tell("Line", event.line_id);
}

}  // namespace dwell::fhir
