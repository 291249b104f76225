// Where the resources of one bundle come from: the ward event, the person who told it, and us.
#include <variant>

#include "mapping/fhir/draft.h"

namespace dwell::fhir {
namespace {

constexpr Hl7Code kCreate = {"v3-DataOperation", "CREATE", "create"};
constexpr Hl7Code kUpdate = {"v3-DataOperation", "UPDATE", "revise"};
constexpr Hl7Code kNullify = {"v3-DataOperation", "NULLIFY", "nullify"};
constexpr Hl7Code kAuthor = {"provenance-participant-type", "author", "Author"};
constexpr Hl7Code kAssembler = {"provenance-participant-type", "assembler", "Assembler"};

const Hl7Code& Activity(const event::Event* event) {
  if (event == nullptr || !event->replaces.empty()) return kUpdate;
  return event->kind() == event::Kind::kRetraction ? kNullify : kCreate;
}

void WriteAgents(JsonWriter& json, const Scope& scope) {
  json.Name("agent");
  json.BeginArray();
  if (scope.cause.event != nullptr) {
    const event::StaffMember& first = scope.cause.event->staff.front();
    json.BeginObject();
    json.Name("type");
    WriteConcept(json, kAuthor);
    if (!first.role.empty()) {
      json.Name("role");
      json.BeginArray();
      WriteConcept(json, *scope.codes.Find("role", first.role));
      json.EndArray();
    }
    json.Name("who");
    WriteStaff(json, first);
    json.EndObject();
  }
  json.BeginObject();
  json.Name("type");
  WriteConcept(json, kAssembler);
  json.Name("who");
  WriteProgram(json, scope.context);
  json.EndObject();
  json.EndArray();
}

/// `role`: R4, required binding provenance-entity-role.
void WriteEntity(JsonWriter& json, const Scope& scope, std::string_view role, std::string_view id) {
  json.BeginObject();
  json.Member("role", role);
  json.Name("what");
  WriteLogicalReference(json, "", scope.base + "/event", id, "ward event");
  json.EndObject();
}

/// R5 calls it authorization and makes it a CodeableReference.
void WriteReason(JsonWriter& json, const Scope& scope, std::string_view code) {
  const codes::Found why = scope.codes.Find("reason", code);
  json.Name(scope.r5() ? "authorization" : "reason");
  json.BeginArray();
  if (scope.r5()) {
    json.BeginObject();
    json.MemberRaw("concept", why->concept_json);
    json.EndObject();
  } else {
    WriteConcept(json, *why);
  }
  json.EndArray();
}

void WriteEntities(JsonWriter& json, const Scope& scope) {
  const event::Event& event = *scope.cause.event;
  json.Name("entity");
  json.BeginArray();
  WriteEntity(json, scope, "source", event.id);
  if (!event.replaces.empty()) WriteEntity(json, scope, "revision", event.replaces);
  if (const auto* retraction = std::get_if<event::Retraction>(&event.body)) {
    WriteEntity(json, scope, "removal", retraction->retracts);
  }
  json.EndArray();
}

std::string NarrativeOf(const Scope& scope) {
  Narrative narrative("Origin of the record");
  const event::Event* event = scope.cause.event;
  if (event == nullptr) {
    narrative.Row("From", scope.cause.derived_again
                              ? "derivation anew, after a change of codes, rules, program or clock"
                              : "passing of time");
  } else {
    narrative.Row("From", std::string(event::KindName(event->kind())) + " " + event->id);
    narrative.Row("When", ReadableTime(event->happened.text));
    if (const auto* retraction = std::get_if<event::Retraction>(&event->body)) {
      narrative.Row("Takes back", retraction->retracts);
      narrative.Row("Why", scope.codes.Find("reason", retraction->reason)->text);
    }
    if (!event->replaces.empty()) narrative.Row("Corrects", event->replaces);
    if (!event->note.empty() && event->kind() == event::Kind::kRetraction) {
      narrative.Row("Note", event->note);
    }
  }
  narrative.Row("Recorded", ReadableTime(scope.cause.recorded, scope.context.zone));
  return narrative.Finish();
}

}  // namespace

Resource MakeProvenance(const Scope& scope, const std::vector<Resource>& targets) {
  const event::Event* event = scope.cause.event;
  const std::string id = ResourceId(scope.context.site_namespace,
                                    {scope.line.key.source, "provenance", scope.line.key.line_id,
                                     std::to_string(scope.cause.sequence)});
  JsonWriter json;
  json.BeginObject();
  json.Member("resourceType", "Provenance");
  json.Member("id", id);
  scope.Meta(json, "Provenance");
  json.Name("target");
  json.BeginArray();
  for (const Resource& target : targets) WriteReference(json, target.type, target.id);
  json.EndArray();
  if (event != nullptr) WriteWhen(json, "occurred", *event);
  json.Member("recorded", scope.recorded);
  if (event != nullptr) {
    if (const auto* retraction = std::get_if<event::Retraction>(&event->body)) {
      WriteReason(json, scope, retraction->reason);
    }
  }
  json.Name("activity");
  WriteConcept(json, Activity(event));
  WriteAgents(json, scope);
  if (event != nullptr) WriteEntities(json, scope);
  json.Name("text");
  json.BeginObject();
  json.Member("status", "generated");
  json.Member("div", NarrativeOf(scope));
  json.EndObject();
  json.EndObject();
  return {"Provenance", id, WithAdditions(scope.context, "Provenance", json.Take())};
}

}  // namespace dwell::fhir
