// What is due, as a Task: requested, ready when its time has come, and closed by what settles it.
#include <array>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {
namespace {

using due::Stage;

/// R4 codes for a stage: Task.status (required binding task-status).
struct StageRow {
  Stage stage;
  std::string_view status;
};
constexpr std::array<StageRow, 7> kStages = {{
    {Stage::kNotYetDue, "requested"},
    {Stage::kDueSoon, "requested"},
    {Stage::kDue, "ready"},
    {Stage::kOverdue, "ready"},
    {Stage::kSettled, "completed"},
    {Stage::kNoLongerNeeded, "cancelled"},
    {Stage::kEnteredInError, "entered-in-error"},
}};

/// The policy as a canonical with version; name and version encoded, whatever a site calls them.
void WritePolicy(Draft& draft, const due::Due& due) {
  if (due.policy_name.empty()) return;
  std::string canonical = draft.scope().context.site_namespace + "/policy/";
  canonical += EncodeSegment(due.policy_name);
  if (!due.policy_version.empty()) canonical.append("|").append(EncodeSegment(due.policy_version));
  draft.json().Member("instantiatesCanonical", canonical);
  draft.Tell("Policy", due.policy_name + " " + due.policy_version);
}

/// What settled it, as an output. Nothing when the settling event has no resource of its own.
void WriteOutput(Draft& draft, const due::Due& due) {
  const Scope& scope = draft.scope();
  const line::Entry* settling = HeadOf(scope.line, due.settled_by);
  if (settling == nullptr || settling->event->kind() == event::Kind::kRetraction) return;
  const Primary primary = PrimaryOf(*settling->event);
  JsonWriter& json = draft.json();
  json.Name("output");
  json.BeginArray();
  json.BeginObject();
  draft.Coded("type", "task-output", "settled-by");
  draft.Refer("valueReference", Row(primary.role).type,
              scope.IdOf(*settling, primary.role, primary.number));
  json.EndObject();
  json.EndArray();
  draft.Tell("Settled", ReadableTime(settling->event->happened.text));
}

/// statusReason; in R5 a CodeableReference.
void WriteStatusReason(Draft& draft, std::string_view group, std::string_view code,
                       std::string_view label = {}) {
  const codes::Found why = draft.codes().Find(group, code);
  draft.json().Name("statusReason");
  draft.Codeable([&] { WriteConcept(draft.json(), *why); });
  if (!label.empty()) draft.Tell(label, why->text);
}

/// reasonCode; in R5 an item of the list "reason".
void WriteReason(Draft& draft, std::string_view code) {
  if (code.empty()) return;
  if (!draft.scope().r5()) return draft.Coded("reasonCode", "reason", code, "Why");
  const codes::Found why = draft.codes().Find("reason", code);
  draft.json().Name("reason");
  draft.json().BeginArray();
  draft.Codeable([&] { WriteConcept(draft.json(), *why); });
  draft.json().EndArray();
  draft.Tell("Why", why->text);
}

/// When it is to be done. R5 keeps `restriction` for the fulfilment of requests (its tsk-1).
void WriteWindow(Draft& draft, const due::Due& due) {
  JsonWriter& json = draft.json();
  const auto period = [&] {
    WritePeriod(json, FormatInstant(due.from), FormatInstant(due.due_at));
  };
  if (draft.scope().r5()) {
    json.Name("requestedPeriod");
    return period();
  }
  json.Name("restriction");
  json.BeginObject();
  json.Name("period");
  period();
  json.EndObject();
}

/// Members that a Task has in every state.
void WriteTimes(Draft& draft, Instant authored) {
  const Instant recorded = draft.scope().cause.recorded;
  draft.json().Member("authoredOn", FormatInstant(std::min(authored, recorded)));  // inv-1 of R4
  draft.json().Member("lastModified", draft.scope().recorded);
  draft.json().Name("requester");
  WriteProgram(draft.json(), draft.scope().context);
}

/// A Task once issued that no longer follows from the line's events, e.g. after a late event.
void MakeWithdrawn(Draft& draft) {
  draft.json().Member("status", "entered-in-error");
  WriteStatusReason(draft, "reason", "no-longer-derived", "Why");
  draft.json().Member("intent", "order");
  draft.Patient("for", draft.scope().line.patient);
  WriteTimes(draft, draft.scope().cause.recorded);
}

}  // namespace

void MakeTask(Draft& draft) {
  if (draft.item().due == nullptr) return MakeWithdrawn(draft);
  const due::Due& due = *draft.item().due;
  const Scope& scope = draft.scope();
  const StageRow& row = kStages[static_cast<std::size_t>(due.stage)];
  JsonWriter& json = draft.json();
  WritePolicy(draft, due);
  json.Member("status", row.status);
  if (due.stage == Stage::kNoLongerNeeded) WriteStatusReason(draft, "stage", "no-longer-needed");
  draft.Coded("businessStatus", "stage", due::StageCode(due.stage), "State");
  json.Member("intent", "order");
  json.Member("priority", due::PriorityCode(due.priority));
  draft.Coded("code", "due-rule", due::RuleCode(due.rule), "What");
  if (scope.insertion != nullptr)
    draft.Refer("focus", TypeOf(Role::kDeviceUse, scope.context.release), scope.device_use_id);
  draft.Patient("for", scope.line.patient);
  if (const line::Entry* anchor = HeadOf(scope.line, due.anchor_id))
    draft.Encounter(*anchor->event);
  WriteTimes(draft, due.from);
  draft.Location(due.ward);
  WriteReason(draft, due.reason);
  WriteWindow(draft, due);
  draft.Tell("Due", ReadableTime(due.due_at, scope.context.zone));
  draft.Tell("Line", scope.line.key.line_id);
  if (!due.ward.empty()) draft.Tell("Ward", due.ward);
  if (due.stage == Stage::kSettled) WriteOutput(draft, due);
}

}  // namespace dwell::fhir
