#include "mapping/fhir/observation.h"

namespace dwell::fhir {
namespace {

constexpr Hl7Code kExam = {"observation-category", "exam", "Exam"};
constexpr Hl7Code kSurvey = {"observation-category", "survey", "Survey"};
constexpr Hl7Code kProcedure = {"observation-category", "procedure", "Procedure"};
constexpr Hl7Code kAbnormal = {"v3-ObservationInterpretation", "A", "Abnormal"};

/// Observation.status (R4, required binding observation-status).
std::string_view Status(const Item& item) {
  if (item.in_error) return "entered-in-error";
  const bool corrects = item.entry->event->id != item.entry->root_id;
  return corrects ? "corrected" : "final";
}

void WriteCategories(Draft& draft, const ObservationHead& head) {
  JsonWriter& json = draft.json();
  json.Name("category");
  json.BeginArray();
  WriteConcept(json, head.of_procedure ? kProcedure : kExam);
  if (!head.graded_as.empty()) {
    WriteConcept(json, kSurvey);
    WriteConcept(json, *draft.codes().Find("record", head.graded_as));
  }
  json.EndArray();
}

/// Id of the line that an Observation is about; "" when no insertion tells it. What a placed
/// insertion brings is about its own line, and so is a dwell time, even in error.
std::string DeviceOf(const Draft& draft) {
  const Item& item = draft.item();
  if (item.partner != nullptr) return draft.scope().IdOf(*item.partner, Role::kDevice);
  const auto* insertion = std::get_if<event::Insertion>(&item.entry->event->body);
  if (insertion == nullptr) return draft.scope().device_id;
  if (insertion->outcome != event::Outcome::kPlaced) return {};
  return draft.scope().IdOf(*item.entry, Role::kDevice);
}

/// A FHIR code has no white space but single spaces within: others are dropped.
std::string AsCode(std::string_view text) {
  std::string code;
  for (const char c : text) {
    if (c == ' ' && (code.empty() || code.back() == ' ')) continue;
    code += c;
  }
  if (code.ends_with(' ')) code.pop_back();
  return code;
}

}  // namespace

void BeginObservation(Draft& draft, const ObservationHead& head) {
  const Scope& scope = draft.scope();
  const event::Event& event = *draft.item().entry->event;
  JsonWriter& json = draft.json();
  if (!head.part_of.empty()) {
    json.Name("partOf");
    json.BeginArray();
    WriteReference(json, "Procedure", head.part_of);
    json.EndArray();
  }
  json.Member("status", Status(draft.item()));
  WriteCategories(draft, head);
  draft.Coded("code", head.group, head.code);
  draft.Patient("subject", event.patient);
  const std::string device = DeviceOf(draft);
  if (!device.empty()) {
    json.Name("focus");
    json.BeginArray();
    WriteReference(json, "Device", device);
    json.EndArray();
  }
  draft.Encounter(event);
  WriteWhen(json, "effective", event);
  json.Member("issued", event.recorded_at.text);
  json.Name("performer");
  json.BeginArray();
  for (const event::StaffMember& member : event.staff) WriteStaff(json, member);
  json.EndArray();
  draft.TellEvent(event);
  const auto* told = std::get_if<event::Insertion>(&event.body);
  const event::Insertion* insertion = told != nullptr ? told : scope.inserted();
  if (insertion != nullptr && insertion->site) {
    json.Name("bodySite");
    draft.BodySite(*insertion->site);
  }
}

Components::~Components() {
  if (any_) draft_.json().EndArray();
}

codes::Found Components::Open(std::string_view group, std::string_view code) {
  JsonWriter& json = draft_.json();
  if (!any_) {
    json.Name("component");
    json.BeginArray();
    any_ = true;
  }
  json.BeginObject();
  codes::Found found = draft_.codes().Find(group, code);
  json.Name("code");
  WriteConcept(json, *found);
  return found;
}

void Components::Close(bool abnormal) {
  JsonWriter& json = draft_.json();
  if (abnormal) {
    json.Name("interpretation");
    json.BeginArray();
    WriteConcept(json, kAbnormal);
    json.EndArray();
  }
  json.EndObject();
}

void Components::Coded(std::string_view group, std::string_view code, std::string_view value_group,
                       std::string_view value, bool abnormal) {
  if (value.empty()) return;
  const codes::Found label = Open(group, code);
  draft_.Coded("valueCodeableConcept", value_group, value, label->text);
  Close(abnormal);
}

void Components::Answer(std::string_view group, std::string_view code, event::Answer answer,
                        bool skip_unknown) {
  if (answer != event::Answer::kNotKnown) {
    return Coded(group, code, "answer", answer == event::Answer::kYes ? "yes" : "no");
  }
  if (skip_unknown) return;
  const codes::Found label = Open(group, code);
  draft_.Coded("dataAbsentReason", "answer", "not-known", label->text);
  Close();
}

void Components::Finding(std::string_view group, std::string_view code, event::Finding finding,
                         bool abnormal_if_present) {
  if (finding == event::Finding::kNotAsked) return;
  if (finding != event::Finding::kNotAssessable) {
    const bool present = finding == event::Finding::kPresent;
    return Coded(group, code, "finding", present ? "present" : "absent",
                 present && abnormal_if_present);
  }
  const codes::Found label = Open(group, code);
  draft_.Coded("dataAbsentReason", "finding", "not-assessable", label->text);
  Close();
}

void Components::Quantity(std::string_view code, const std::optional<event::Decimal>& number,
                          const Unit& unit) {
  if (!number) return;
  const codes::Found label = Open("observation", code);
  draft_.json().Name("valueQuantity");
  WriteQuantity(draft_.json(), number->text, unit);
  draft_.Tell(label->text, std::string(number->text).append(" ").append(unit.text));
  Close();
}

void Components::Integer(std::string_view code, std::int64_t number) {
  const codes::Found label = Open("observation", code);
  draft_.json().MemberInteger("valueInteger", number);
  draft_.Tell(label->text, std::to_string(number));
  Close();
}

void Components::Lot(std::string_view code, std::string_view lot) {
  if (lot.empty()) return;
  const codes::Found label = Open("observation", code);
  JsonWriter& json = draft_.json();
  json.Name("valueCodeableConcept");
  json.BeginObject();
  json.Name("coding");
  json.BeginArray();
  json.BeginObject();
  json.Member("system", draft_.scope().context.site_namespace + "/lot");
  json.Member("code", AsCode(lot));
  json.EndObject();
  json.EndArray();
  json.Member("text", lot);
  json.EndObject();
  draft_.Tell(label->text, lot);
  Close();
}

void Components::Date(std::string_view code, std::string_view date) {
  if (date.empty()) return;
  const codes::Found label = Open("observation", code);
  draft_.Text("valueDateTime", date, label->text);
  Close();
}

void Components::Alarm(std::string_view code) {
  const codes::Found label = Open("observation", code);
  draft_.json().MemberBool("valueBoolean", true);
  draft_.Tell(label->text, "yes");
  Close(true);
}

void CareComponents(Components& components, const event::Event& event) {
  if (event.patient_groups) {
    for (const event::Code& name : *event.patient_groups) {
      components.Coded("observation", "patient-group", "patient-group", name);
    }
  }
  if (!event.infusions) return;
  for (const event::Code& name : *event.infusions) {
    components.Coded("observation", "infusion", "infusion", name);
  }
}

void FlushComponents(Components& components, const event::FlushGiven& flush) {
  components.Coded("observation", "flush-fluid", "fluid", flush.fluid);
  components.Quantity("flush-volume", flush.millilitres, {"mL", "mL"});
  components.Lot("flush-lot", flush.lot);
  components.Date("flush-expiry", flush.expiry);
  components.Answer("observation", "flush-checked-by-two", flush.checked_by_two, true);
  components.Finding("observation", "swelling-on-flush", flush.swelling, true);
  components.Finding("observation", "resistance-on-flush", flush.resistance, true);
}

}  // namespace dwell::fhir
