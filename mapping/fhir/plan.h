// Which resources a line has, in which state: the plan that making follows. Costs little: no id and
// no text is made before it is known that something changed.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/due/due.h"
#include "mapping/fhir/bundle.h"
#include "mapping/line/line.h"

namespace dwell::fhir {

/// What a resource is within the event (or due) that it comes from. Order is the order in a Bundle:
/// what is referred to comes first.
enum class Role : std::uint8_t {
  kDevice,
  kInsertion,
  kAttempt,
  kFlush,
  kDressingChange,
  kRemoval,
  kDeviceUse,
  kAssociation,  ///< R5 only, where Device no longer names its patient
  kInsertionRecord,
  kFirstFlush,
  kSiteCheck,
  kFlushRecord,
  kDressingRecord,
  kSiteAtRemoval,
  kDwellTime,
  kTask,
};

struct RoleRow {
  Role role;
  std::string_view name;   ///< part of ids and identifiers: never change one
  std::string_view type;   ///< FHIR resource type; see TypeOf()
  std::string_view title;  ///< heads the narrative
};
const RoleRow& Row(Role role);

/// The role's resource type in that release: R5 calls DeviceUseStatement DeviceUsage.
std::string_view TypeOf(Role role, FhirRelease release);

/// Every resource type that we write in that release, each once, in the order of a Bundle.
std::vector<std::string_view> TypesWritten(FhirRelease release);

/// One resource of the line.
struct Item {
  Role role{};
  std::size_t number = 0;                ///< of the failed attempt, from 1; else 0
  const line::Entry* entry = nullptr;    ///< the event it is made from; null for a Task
  const line::Entry* partner = nullptr;  ///< kDevice, kDeviceUse: removal; kDwellTime: insertion
  const due::Due* due = nullptr;  ///< kTask: null for one that no longer follows from the line
  bool in_error = false;          ///< becomes entered-in-error, keeping its content
  std::string_view root{};        ///< root id that it goes by; empty for a Task
  bool only_if_issued = false;    ///< takes back what is out there; else there is nothing to make
  std::uint64_t fingerprint = 0;
};

/// Every resource that the line's events and dues call for. An event out of force keeps its
/// resources, in error, unless the event that replaces it makes them. What was issued under a root
/// that turned out not to be the first of its chain is taken back.
std::vector<Item> MakePlan(const line::Line& line, const std::vector<due::Due>& dues,
                           const Context& context);

/// Type, role and number of the resource that shows that `event` happened; what a Task refers to.
struct Primary {
  Role role;
  std::size_t number;
};
Primary PrimaryOf(const event::Event& event);

/// The newest entry of a chain of replacements, by its root: the one in force or retracted. Null if
/// none.
const line::Entry* HeadOf(const line::Line& line, std::string_view root_id);

/// Id of an event's resource, and of a due's Task.
std::string EventResourceId(const Context& context, std::string_view source,
                            std::string_view root_id, Role role, std::size_t number);
std::string TaskId(const Context& context, const line::Key& key, const due::Due& due);

/// Fingerprint of a Task that was issued and no longer follows from the line.
std::uint64_t WithdrawnFingerprint(std::string_view id);

}  // namespace dwell::fhir
