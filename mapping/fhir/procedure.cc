// The Procedures: what was done to the patient, or was to be done and was not.
#include <variant>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {
namespace {

/// How a Procedure starts.
struct Head {
  std::string_view status;     ///< R4, required binding event-status; in error wins
  std::string_view what;       ///< code in group "procedure"
  std::string_view line_kind;  ///< makes it finer; may be empty
  const Moment* at = nullptr;  ///< instead of the event's own time
};

/// status and, if told, why; then category, code, subject, encounter, performed, performer,
/// location.
void Begin(Draft& draft, const Head& head) {
  const event::Event& event = *draft.item().entry->event;
  JsonWriter& json = draft.json();
  json.Member("status", draft.item().in_error ? "entered-in-error" : head.status);
  draft.CodedOnce("category", "procedure", "therapeutic-procedure");
  const codes::Found code = draft.codes().Find("procedure", head.what, head.line_kind);
  json.Name("code");
  WriteConcept(json, *code);
  draft.Tell("What", code->text);
  draft.Patient("subject", event.patient);
  draft.Encounter(event);
  const std::string when = draft.scope().r5() ? "occurrence" : "performed";
  if (head.at != nullptr) {
    json.Member(when + "DateTime", head.at->text);
  } else {
    WriteWhen(json, when, event);
  }
  if (draft.scope().r5()) json.Member("recorded", event.recorded_at.text);
  json.Name("performer");
  json.BeginArray();
  for (const event::StaffMember& member : event.staff) {
    json.BeginObject();
    draft.Coded("function", "role", member.role);
    json.Name("actor");
    WriteStaff(json, member);
    json.EndObject();
  }
  json.EndArray();
  draft.Location(event.place.ward);
  draft.TellEvent(event, head.at);
}

/// Site and vein as entries of their own (Procedure.bodySite is a list).
void WriteSites(Draft& draft, const std::optional<event::Site>& site) {
  if (!site) return;
  JsonWriter& json = draft.json();
  json.Name("bodySite");
  json.BeginArray();
  draft.BodySite(*site);
  if (!site->vein.empty()) WriteConcept(json, *draft.codes().Find("vein", site->vein));
  json.EndArray();
}

/// The line that was handled, when it is known.
void WriteFocalDevice(Draft& draft, std::string_view action, std::string_view device_id) {
  if (device_id.empty()) return;
  JsonWriter& json = draft.json();
  json.Name("focalDevice");
  json.BeginArray();
  json.BeginObject();
  draft.Coded("action", "device-action", action);
  draft.Refer("manipulated", "Device", device_id);
  json.EndObject();
  json.EndArray();
}

/// Procedure.usedCode (R5: used), opened with the first thing used.
class Used {
 public:
  explicit Used(Draft& draft) : draft_(draft) {}
  Used(const Used&) = delete;
  Used& operator=(const Used&) = delete;
  ~Used() {
    if (any_) draft_.json().EndArray();
  }
  void Add(std::string_view group, std::string_view code) {
    if (code.empty()) return;
    JsonWriter& json = draft_.json();
    if (!any_) {
      json.Name(draft_.scope().r5() ? "used" : "usedCode");
      json.BeginArray();
      any_ = true;
    }
    const codes::Found found = draft_.codes().Find(group, code);
    draft_.Codeable([&] { WriteConcept(json, *found); });
    for (const std::string& also : found->also_json) {
      draft_.Codeable([&] {
        json.BeginObject();
        json.MemberRaw("coding", also);
        json.Member("text", found->text);
        json.EndObject();
      });
    }
    draft_.Tell("Used", found->text);
  }

 private:
  Draft& draft_;
  bool any_ = false;
};

/// A stab that did not succeed was done, without success; R4 keeps "not-done" for what never began.
void WriteFailure(Draft& draft, std::string_view reason) {
  const codes::Found failed = draft.codes().Find("reason", "failed-attempt");
  draft.json().Name("statusReason");
  if (reason.empty()) {
    WriteConcept(draft.json(), *failed);
  } else {
    const codes::Found why = draft.codes().Find("reason", reason);
    WriteConcepts(draft.json(), *failed, *why, failed->text + ": " + why->text);
    draft.Tell("Why it failed", why->text);
  }
  draft.Coded("outcome", "outcome", "unsuccessful", "Outcome");
}

}  // namespace

void MakeInsertion(Draft& draft) {
  const line::Entry& entry = *draft.item().entry;
  const auto& insertion = std::get<event::Insertion>(entry.event->body);
  const std::string_view kind = insertion.line ? std::string_view(insertion.line->kind) : "";
  const bool done =
      insertion.outcome == event::Outcome::kPlaced || insertion.outcome == event::Outcome::kFailed;
  Begin(draft, {done ? "completed" : "not-done", "line-insertion", kind});
  if (insertion.outcome == event::Outcome::kPlaced) {
    draft.Coded("outcome", "outcome", "successful", "Outcome");
  } else if (done) {
    WriteFailure(draft, insertion.reason);
  } else {
    draft.Coded("statusReason", "reason", insertion.reason, "Why it was not done");
  }
  WriteSites(draft, insertion.site);
  draft.Note(*entry.event);
  if (insertion.outcome == event::Outcome::kPlaced) {
    WriteFocalDevice(draft, "put-in", draft.scope().IdOf(entry, Role::kDevice));
  }
  Used used(draft);
  if (insertion.preparation) used.Add("antiseptic", insertion.preparation->skin_antiseptic);
  if (insertion.flush) used.Add("fluid", insertion.flush->fluid);
  if (insertion.dressing) used.Add("dressing-type", insertion.dressing->type);
}

void MakeAttempt(Draft& draft) {
  const auto& insertion = std::get<event::Insertion>(draft.item().entry->event->body);
  const event::FailedAttempt& attempt = insertion.attempts[draft.item().number - 1];
  const std::string_view kind = insertion.line ? std::string_view(insertion.line->kind) : "";
  Begin(draft, {"completed", "line-insertion", kind, attempt.at ? &*attempt.at : nullptr});
  draft.Tell("Attempt", std::to_string(draft.item().number));
  WriteFailure(draft, attempt.reason);
  WriteSites(draft, attempt.site);
}

void MakeFlush(Draft& draft) {
  const event::Event& event = *draft.item().entry->event;
  Begin(draft, {"completed", "line-flush", draft.scope().line_kind()});
  draft.Note(event);
  WriteFocalDevice(draft, "flushed", draft.scope().device_id);
  Used(draft).Add("fluid", std::get<event::Flush>(event.body).flush.fluid);
}

void MakeDressingChange(Draft& draft) {
  const event::Event& event = *draft.item().entry->event;
  const auto& change = std::get<event::DressingChange>(event.body);
  Begin(draft, {"completed", "dressing-change", draft.scope().line_kind()});
  draft.Note(event);
  WriteFocalDevice(draft, "redressed", draft.scope().device_id);
  Used used(draft);
  used.Add("antiseptic", change.skin_antiseptic);
  used.Add("dressing-type", change.type);
}

void MakeRemoval(Draft& draft) {
  const event::Event& event = *draft.item().entry->event;
  const auto& removal = std::get<event::Removal>(event.body);
  Begin(draft, {"completed", "line-removal", draft.scope().line_kind()});
  draft.json().Name(draft.scope().r5() ? "reason" : "reasonCode");
  draft.json().BeginArray();
  const codes::Found reason = draft.codes().Find("reason", removal.reason);
  draft.Codeable([&] { WriteConcept(draft.json(), *reason); });
  draft.json().EndArray();
  draft.Tell("Why", reason->text);
  if (const event::Insertion* inserted = draft.scope().inserted())
    WriteSites(draft, inserted->site);
  draft.Note(event);
  WriteFocalDevice(draft, "taken-out", draft.scope().device_id);
}

}  // namespace dwell::fhir
