// One resource while it is being written: its JSON and its narrative together, and what every
// resource has: id, meta, identifiers, narrative.
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "mapping/fhir/bundle.h"
#include "mapping/fhir/elements.h"
#include "mapping/fhir/narrative.h"
#include "mapping/fhir/plan.h"

namespace dwell::fhir {

/// What all resources of one bundle share.
struct Scope {
  Scope(const line::Line& line, const Context& context, const Cause& cause);

  const line::Line& line;
  const Context& context;
  const codes::CodeMap& codes;
  const Cause& cause;
  const line::Entry* insertion;  ///< in force and placed; or null
  std::string base;              ///< scope of our identifiers: namespace "/source/" source
  std::string security_json;     ///< of SecurityJson()
  std::string device_id;         ///< of the insertion; empty without one
  std::string device_use_id;     ///< likewise
  std::string recorded;          ///< cause.recorded as FHIR instant

  std::string IdOf(const line::Entry& entry, Role role, std::size_t number = 0) const;
  const event::Insertion* inserted() const;  ///< the insertion's body; or null
  /// Code of the kind of line; "" when no insertion told it.
  std::string_view line_kind() const;
  /// Member "meta" of a resource of that type.
  void Meta(JsonWriter& json, std::string_view type) const;
  /// Whether to write as R5 does; R4B is as R4 in all that we write.
  bool r5() const { return context.release == FhirRelease::kR5; }
};

class Draft {
 public:
  /// Starts the resource of `item`: resourceType, id, meta and identifiers.
  Draft(const Scope& scope, const Item& item, std::string_view id);

  JsonWriter& json() { return json_; }
  const Scope& scope() const { return scope_; }
  const Item& item() const { return item_; }
  const codes::CodeMap& codes() const { return scope_.codes; }

  /// A line of the narrative alone.
  void Tell(std::string_view label, std::string_view value) { narrative_.Row(label, value); }

  /// Member `name` as a CodeableConcept; nothing when `code` is empty. Told as `label` if there is
  /// one.
  void Coded(std::string_view name, std::string_view group, std::string_view code,
             std::string_view label = {});
  /// The same where R5 has a list: there it is the only item.
  void CodedOnce(std::string_view name, std::string_view group, std::string_view code,
                 std::string_view label = {});
  /// Member `name` as a string; nothing when it is empty.
  void Text(std::string_view name, std::string_view value, std::string_view label = {});
  /// Calls `write`, which writes a CodeableConcept, where R5 wants it in a CodeableReference:
  /// {"concept":{...}}.
  template <class Write>
  void Codeable(Write write) {
    if (!scope_.r5()) return write();
    json_.BeginObject();
    json_.Name("concept");
    write();
    json_.EndObject();
  }
  /// Member `name` as a reference to another resource of ours.
  void Refer(std::string_view name, std::string_view type, std::string_view id);
  /// Member `name` as a reference to the patient of the item's event (for a Task: the line's).
  void Patient(std::string_view name, const event::Patient& patient);
  /// Member `name`, when the event names an encounter.
  void Encounter(const event::Event& event, std::string_view name = "encounter");
  /// Member "location": the ward by its name.
  void Location(std::string_view ward);
  /// Member "note": what staff wrote, with its time.
  void Note(const event::Event& event);
  /// One CodeableConcept for a body site with side and vein in words; as a value.
  void BodySite(const event::Site& site);
  /// When and at which line it happened, for the narrative; `at` where it has a time of its own.
  void TellEvent(const event::Event& event, const Moment* at = nullptr);

  /// Adds the narrative and ends the resource.
  std::string Finish();

 private:
  const Scope& scope_;
  const Item& item_;
  JsonWriter json_;
  Narrative narrative_;
};

/// A finished resource with what the site adds to its type.
std::string WithAdditions(const Context& context, std::string_view type, std::string resource);

/// The id of a resource of the plan that is in it by its event or due.
std::string ItemId(const Item& item, const line::Line& line, const Context& context);

/// The business identifier of a resource of ours.
struct Identifier {
  std::string system, value;
};
/// By "Type/id".
using Identifiers = std::map<std::string, Identifier, std::less<>>;
/// Of every resource that the line's events and dues call for.
Identifiers IdentifiersOf(const line::Line& line, const std::vector<due::Due>& dues,
                          const Context& context);

/// A staff member as a value: known by identifier only.
void WriteStaff(JsonWriter& json, const event::StaffMember& member);
/// This program as a value: {"type":"Device", ...}.
void WriteProgram(JsonWriter& json, const Context& context);

/// "left forearm, cephalic vein".
std::string SiteWords(const codes::CodeMap& codes, const event::Site& site);

/// The makers: each writes the rest of one resource after Draft's start.
void MakeDevice(Draft& draft);
void MakeDeviceUse(Draft& draft);
void MakeAssociation(Draft& draft);
void MakeInsertion(Draft& draft);
void MakeAttempt(Draft& draft);
void MakeFlush(Draft& draft);
void MakeDressingChange(Draft& draft);
void MakeRemoval(Draft& draft);
void MakeInsertionRecord(Draft& draft);
void MakeFlushRecord(Draft& draft);
void MakeSiteCheck(Draft& draft);
void MakeDressingRecord(Draft& draft);
void MakeSiteAtRemoval(Draft& draft);
void MakeDwellTime(Draft& draft);
void MakeTask(Draft& draft);

/// The Provenance of a bundle: who told or did it, from which event, and what came of it.
Resource MakeProvenance(const Scope& scope, const std::vector<Resource>& targets);

}  // namespace dwell::fhir
