#include "daemon/search/task_parameters.h"

#include <array>

namespace dwell::search {
namespace {

using schemas::Value;

std::string Text(std::optional<Value> object, std::string_view name) {
  const auto value = object && object->is_object() ? object->Find(name) : std::nullopt;
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

std::optional<Value> Member(std::optional<Value> object, std::string_view name) {
  return object && object->is_object() ? object->Find(name) : std::nullopt;
}

Given Id(Value task) { return {{"", Text(task, "id")}}; }
Given Status(Value task) { return {{"http://hl7.org/fhir/task-status", Text(task, "status")}}; }
Given Priority(Value task) {
  return {{"http://hl7.org/fhir/request-priority", Text(task, "priority")}};
}

Given CodingsOf(std::optional<Value> codeable) {
  Given given;
  const auto codings = Member(codeable, "coding");
  if (!codings || !codings->is_array()) return given;
  for (const Value coding : *codings)
    given.emplace_back(Text(coding, "system"), Text(coding, "code"));
  return given;
}
Given Code(Value task) { return CodingsOf(task.Find("code")); }
Given BusinessStatus(Value task) { return CodingsOf(task.Find("businessStatus")); }

Given OneIdentifier(std::optional<Value> identifier) {
  return {{Text(identifier, "system"), Text(identifier, "value")}};
}
Given Patient(Value task) { return OneIdentifier(Member(task.Find("for"), "identifier")); }
Given Ward(Value task) { return OneIdentifier(Member(task.Find("location"), "identifier")); }
Given Identifiers(Value task) {
  Given given;
  const auto identifiers = task.Find("identifier");
  if (!identifiers || !identifiers->is_array()) return given;
  for (const Value one : *identifiers) given.emplace_back(Text(one, "system"), Text(one, "value"));
  return given;
}

}  // namespace

std::optional<Instant> DueAt(Value task) {
  auto period = task.Find("requestedPeriod");
  if (!period) period = Member(task.Find("restriction"), "period");
  const auto moment = ReadMoment(Text(period, "end"));
  return moment ? std::optional(moment->instant) : std::nullopt;
}

std::span<const Parameter> Parameters() {
  static constexpr std::array<Parameter, 9> kParameters{{
      {"_id", Id, "_id", "token", "http://hl7.org/fhir/SearchParameter/Resource-id", ""},
      {"status", Status, "status", "token", "http://hl7.org/fhir/SearchParameter/Task-status", ""},
      {"business-status", BusinessStatus, "business-status", "token",
       "http://hl7.org/fhir/SearchParameter/Task-business-status",
       "not-yet-due, due-soon, due, overdue and the rest of our CodeSystem"},
      {"code", Code, "code", "token", "http://hl7.org/fhir/SearchParameter/Task-code",
       "the rule: removal-due, site-check-due and the rest of our CodeSystem"},
      {"priority", Priority, "priority", "token",
       "http://hl7.org/fhir/SearchParameter/Task-priority", ""},
      {"identifier", Identifiers, "identifier", "token",
       "http://hl7.org/fhir/SearchParameter/Task-identifier", ""},
      {"patient:identifier", Patient, "patient", "reference",
       "http://hl7.org/fhir/SearchParameter/Task-patient",
       "with the modifier :identifier only: patients are known by identifier"},
      {"ward", Ward, "ward", "token", "", "the ward's name: the identifier of Task.location"},
      {"due", nullptr, "due", "date", "",
       "the end of the window: date-times with offset, prefixes lt, le, gt, ge"},
  }};
  return kParameters;
}

}  // namespace dwell::search
