#include "mapping/fhir/draft.h"

#include <variant>

namespace dwell::fhir {
namespace {

std::string Base(const Context& context, std::string_view source) {
  return context.site_namespace + "/source/" + EncodeSegment(source);
}

/// The business identifier: the same parts as the id, readable.
std::string IdentifierValue(const line::Line& line, const Item& item) {
  std::string value;
  if (item.due != nullptr) {
    value.append(line.key.line_id).append("/").append(due::RuleCode(item.due->rule));
    return value.append("/").append(item.due->anchor_id);
  }
  value.append(item.root).append("/").append(Row(item.role).name);
  if (item.number != 0) value.append("/").append(std::to_string(item.number));
  return value;
}

std::string IdentifierSystem(std::string_view base, const Item& item) {
  return std::string(base).append(item.due != nullptr ? "/task" : "/resource");
}

}  // namespace

std::string ItemId(const Item& item, const line::Line& line, const Context& context) {
  if (item.due != nullptr) return TaskId(context, line.key, *item.due);
  return EventResourceId(context, line.key.source, item.root, item.role, item.number);
}

Identifiers IdentifiersOf(const line::Line& line, const std::vector<due::Due>& dues,
                          const Context& context) {
  const std::string base = Base(context, line.key.source);
  Identifiers identifiers;
  for (const Item& item : MakePlan(line, dues, context)) {
    std::string name(TypeOf(item.role, context.release));
    name.append("/").append(ItemId(item, line, context));
    identifiers[std::move(name)] = {IdentifierSystem(base, item), IdentifierValue(line, item)};
  }
  return identifiers;
}

Scope::Scope(const line::Line& the_line, const Context& the_context, const Cause& the_cause)
    : line(the_line),
      context(the_context),
      codes(*the_context.codes),
      cause(the_cause),
      insertion(the_line.insertion()),
      base(Base(the_context, the_line.key.source)),
      security_json(SecurityJson(the_context.test_data, the_context.security)),
      recorded(FormatInstant(the_cause.recorded)) {
  if (insertion == nullptr) return;
  device_id = IdOf(*insertion, Role::kDevice);
  device_use_id = IdOf(*insertion, Role::kDeviceUse);
}

std::string Scope::IdOf(const line::Entry& entry, Role role, std::size_t number) const {
  return EventResourceId(context, line.key.source, entry.root_id, role, number);
}

const event::Insertion* Scope::inserted() const {
  return insertion != nullptr ? std::get_if<event::Insertion>(&insertion->event->body) : nullptr;
}

std::string_view Scope::line_kind() const {
  const event::Insertion* body = inserted();
  return body != nullptr && body->line ? std::string_view(body->line->kind) : std::string_view();
}

void Scope::Meta(JsonWriter& json, std::string_view type) const {
  json.Name("meta");
  WriteMeta(json, base, context.profiles ? ProfileOf(type) : std::string_view(), security_json);
}

Draft::Draft(const Scope& scope, const Item& item, std::string_view id)
    : scope_(scope), item_(item), narrative_(Row(item.role).title) {
  json_.BeginObject();
  json_.Member("resourceType", TypeOf(item.role, scope.context.release));
  json_.Member("id", id);
  scope.Meta(json_, TypeOf(item.role, scope.context.release));
  if (item.in_error) narrative_.Row("", "Entered in error: this does not count.");
  if (item.entry == nullptr && item.due == nullptr) return;  // withdrawn: only its id is known
  json_.Name("identifier");
  json_.BeginArray();
  WriteIdentifier(json_, IdentifierSystem(scope.base, item), IdentifierValue(scope.line, item));
  if (item.role == Role::kDevice || item.role == Role::kDeviceUse ||
      item.role == Role::kAssociation) {
    WriteIdentifier(json_, scope.base + "/line", scope.line.key.line_id);
  }
  json_.EndArray();
}

void Draft::Coded(std::string_view name, std::string_view group, std::string_view code,
                  std::string_view label) {
  if (code.empty()) return;
  const codes::Found found = codes().Find(group, code);
  json_.Name(name);
  WriteConcept(json_, *found);
  if (!label.empty()) Tell(label, found->text);
}

void Draft::CodedOnce(std::string_view name, std::string_view group, std::string_view code,
                      std::string_view label) {
  if (!scope_.r5() || code.empty()) return Coded(name, group, code, label);
  const codes::Found found = codes().Find(group, code);
  json_.Name(name);
  json_.BeginArray();
  WriteConcept(json_, *found);
  json_.EndArray();
  if (!label.empty()) Tell(label, found->text);
}

void Draft::Text(std::string_view name, std::string_view value, std::string_view label) {
  if (value.empty()) return;
  json_.Member(name, value);
  if (!label.empty()) Tell(label, value);
}

void Draft::Refer(std::string_view name, std::string_view type, std::string_view id) {
  json_.Name(name);
  WriteReference(json_, type, id);
}

void Draft::Patient(std::string_view name, const event::Patient& patient) {
  json_.Name(name);
  WriteKnownReference(json_, "Patient", patient.system, patient.value, scope_.context.patients);
}

void Draft::Encounter(const event::Event& event, std::string_view name) {
  if (!event.encounter) return;
  json_.Name(name);
  WriteKnownReference(json_, "Encounter", event.encounter->system, event.encounter->value,
                      scope_.context.encounters);
}

void Draft::Location(std::string_view ward) {
  if (ward.empty()) return;
  json_.Name("location");
  WriteLogicalReference(json_, "Location", scope_.context.site_namespace + "/ward", ward, ward);
}

void Draft::Note(const event::Event& event) {
  if (event.note.empty()) return;
  json_.Name("note");
  json_.BeginArray();
  json_.BeginObject();
  json_.Member("time", event.recorded_at.text);
  json_.Member("text", event.note);
  json_.EndObject();
  json_.EndArray();
  Tell("Note", event.note);
}

void Draft::BodySite(const event::Site& site) {
  const std::string words = SiteWords(codes(), site);
  WriteConcept(json_, *codes().Find("site", site.place, site.side), words);
  Tell("Place", words);
}

void Draft::TellEvent(const event::Event& event, const Moment* at) {
  std::string when = ReadableTime(at != nullptr ? at->text : event.happened.text);
  if (at == nullptr && event.happened_until) {
    when += " until " + ReadableTime(event.happened_until->text);
  }
  Tell("When", when);
  Tell("Line", event.line_id);
  std::string where = event.place.ward;
  if (!event.place.bay.empty()) where += ", bay " + event.place.bay;
  if (!event.place.bed.empty()) where += ", bed " + event.place.bed;
  if (!where.empty()) Tell("Ward", where);
}

std::string Draft::Finish() {
  json_.Name("text");
  json_.BeginObject();
  json_.Member("status", "generated");
  json_.Member("div", narrative_.Finish());
  json_.EndObject();
  json_.EndObject();
  return json_.Take();
}

std::string WithAdditions(const Context& context, std::string_view type, std::string resource) {
  if (context.additions == nullptr) return resource;
  return context.additions->Apply(type, std::move(resource));
}

void WriteStaff(JsonWriter& json, const event::StaffMember& member) {
  WriteLogicalReference(json, "Practitioner", member.system, member.value);
}

void WriteProgram(JsonWriter& json, const Context& context) {
  WriteLogicalReference(json, "Device", context.site_namespace + "/program", "dwelld", "dwelld");
}

std::string SiteWords(const codes::CodeMap& codes, const event::Site& site) {
  std::string words = codes.Find("site", site.place, site.side)->text;
  if (!site.vein.empty()) words.append(", ").append(codes.Find("vein", site.vein)->text);
  return words;
}

}  // namespace dwell::fhir
