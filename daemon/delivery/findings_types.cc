#include "daemon/delivery/findings_types.h"

#include <algorithm>

#include "mapping/fhir/plan.h"

namespace dwell::delivery {
namespace {

constexpr Grade kOk = Grade::kOk;
constexpr Grade kDoubtful = Grade::kDoubtful;
constexpr Grade kCannot = Grade::kCannot;

std::vector<std::string_view> TypesSent(const Wants& wants) {
  auto types = fhir::TypesWritten(wants.release);
  if (!wants.types.empty()) {
    std::erase_if(types, [&](std::string_view type) { return !wants.types.contains(type); });
  }
  return types;
}

/// What else the statement says of writing a type; nothing that we need.
std::string More(const TypeCapability& type) {
  std::string more;
  if (type.Has("create")) more += ", create";
  if (type.conditional_create == true) more += ", conditional create";
  if (type.conditional_update == true) more += ", conditional update";
  return more.empty() ? more : "; also " + more.substr(2);
}

/// An update under an id of ours. The finding is one for a type that is listed and may be updated.
void JudgeOwnId(const TypeCapability& type, Finding& finding) {
  finding.found = "update, also as create" + More(type);
  if (type.update_create == true) return;
  if (!type.update_create) {
    finding.grade = kDoubtful;
    finding.found = "update; whether also as create the statement does not say" + More(type);
    finding.to_do = kAskThem;
    return;
  }
  finding.grade = kCannot;
  finding.found = "no update as create: the endpoint wants to choose ids itself" + More(type);
  finding.to_do =
      TakesConditions(type)
          ? "set endpoint.identity = \"auto\", unless it holds resources of ours already"
          : "ask who runs the endpoint to allow ids that clients choose";
}

/// A write by a condition, under an id of theirs.
void JudgeCondition(const TypeCapability& type, Finding& finding) {
  finding.found = "listed" + More(type);
  if (TakesConditions(type)) return;
  finding.grade = kDoubtful;
  finding.to_do = kAskThem;
}

/// `about` is left to the caller.
Finding JudgeWriting(const Capability& capability, std::string_view name, Identity identity) {
  const bool has_ids = identity == Identity::kUpdateAsCreate;
  Finding finding = {kOk, "", "",
                     has_ids ? "puts each resource under an id of our own"
                             : "writes each resource by its identifier, under an id of theirs",
                     ""};
  const TypeCapability* const type = capability.Find(name);
  if (type == nullptr) {
    finding.grade = capability.types.empty() ? kDoubtful : kCannot;
    finding.found = capability.types.empty() ? "the statement lists no types at all"
                                             : "not among the types that the statement lists";
  } else if (!type->interactions.empty() && !type->Has("update")) {
    finding.grade = kCannot;
    finding.found = "listed, without update" + More(*type);
  } else if (type->interactions.empty()) {
    finding.grade = kDoubtful;
    finding.found = "listed, without saying what may be done with it";
    finding.to_do = kAskThem;
    return finding;
  } else {
    has_ids ? JudgeOwnId(*type, finding) : JudgeCondition(*type, finding);
    return finding;
  }
  finding.to_do =
      "ask who runs the endpoint whether the type is taken; dwelld sends it all the same, and what "
      "is refused is held";
  return finding;
}

/// The types of ours whose reference policy is told and lacks `policy`; empty: none.
std::string Without(const Capability& capability, const Wants& wants, std::string_view policy) {
  std::string names;
  for (const std::string_view name : TypesSent(wants)) {
    const TypeCapability* const type = capability.Find(name);
    if (type == nullptr || type->reference_policies.empty()) continue;
    if (Lists(type->reference_policies, policy)) continue;
    names.append(names.empty() ? "" : ", ").append(name);
  }
  return names;
}

struct SearchRow {
  Grade grade;
  const char* found;
};

SearchRow JudgeSearch(const Capability& capability, std::string_view name) {
  const TypeCapability* const type = capability.Find(name);
  if (capability.types.empty()) return {kDoubtful, "the statement lists no types at all"};
  if (type == nullptr) return {kCannot, "not among the types that the statement lists"};
  if (!type->interactions.empty() && !type->Has("search-type")) {
    return {kCannot, "listed, without search"};
  }
  if (!type->search_parameters.empty() && !Lists(type->search_parameters, "identifier")) {
    return {kCannot, "may be searched for, and not by identifier"};
  }
  if (type->interactions.empty() || type->search_parameters.empty()) {
    return {kDoubtful, "listed, without saying how it may be searched for"};
  }
  return {kOk, "may be searched for by identifier"};
}

/// Patient or Encounter, as [references] says.
struct Known {
  const char* type;
  const char* key;
  Naming naming;
};

Finding JudgeKnown(const Capability& capability, const Wants& wants, Interaction interaction,
                   const Known& known) {
  const auto& [type, key, naming] = known;
  Finding finding = {kOk, type, "", "", ""};
  if (naming == Naming::kConditional && interaction != Interaction::kTransaction) {
    // R4 http.html#trules: conditional references are resolved in transactions.
    finding.grade = kDoubtful;
    finding.found = "a search as a reference is legal in transactions only";
    finding.will = "leaves the search out and names each by identifier (" + std::string(key) +
                   " = \"conditional\")";
    finding.to_do = "set " + std::string(key) + " = \"resolved\" or \"identifier\"";
    return finding;
  }
  if (naming == Naming::kIdentifier) {
    const std::string names = Without(capability, wants, "logical");
    finding.found = "the statement has nothing against references by identifier";
    finding.will = "names each by identifier (" + std::string(key) + " = \"identifier\")";
    if (names.empty()) return finding;
    finding.grade = kDoubtful;
    finding.found = "referencePolicy without \"logical\": " + names;
    finding.to_do = "ask who runs the endpoint, or set " + std::string(key) + " = \"resolved\"";
    return finding;
  }
  const SearchRow search = JudgeSearch(capability, type);
  finding.grade = search.grade;
  finding.found = search.found;
  finding.to_do = "ask who runs the endpoint, or set " + std::string(key) + " = \"identifier\"";
  if (naming == Naming::kResolved) {
    finding.will =
        "searches by identifier before it sends (" + std::string(key) + " = \"resolved\")";
    if (finding.grade == kOk) finding.to_do.clear();
    return finding;
  }
  // No member of a CapabilityStatement says this (R4 capabilitystatement-definitions.html).
  finding.will = "leaves the search to the endpoint (" + std::string(key) + " = \"conditional\")";
  finding.grade = std::max(finding.grade, kDoubtful);
  finding.found += "; whether inside a transaction no statement can say";
  finding.to_do = "try with one event, or set " + std::string(key) + " = \"resolved\"";
  return finding;
}

}  // namespace

void JudgeTypes(const Capability& capability, const Wants& wants, Identity identity,
                std::vector<Finding>& findings) {
  const std::size_t first = findings.size();
  for (const std::string_view type : TypesSent(wants)) {
    Finding finding = JudgeWriting(capability, type, identity);
    const auto same =
        std::find_if(findings.begin() + static_cast<std::ptrdiff_t>(first), findings.end(),
                     [&](const Finding& one) {
                       return one.grade == finding.grade && one.found == finding.found;
                     });
    if (same != findings.end()) {
      same->about.append(", ").append(type);
      continue;
    }
    finding.about = type;
    findings.push_back(std::move(finding));
  }
}

void JudgeReferences(const Capability& capability, const Wants& wants, Interaction interaction,
                     std::vector<Finding>& findings) {
  const std::string names = Without(capability, wants, "literal");
  if (!names.empty()) {
    findings.push_back({kDoubtful, "references", "referencePolicy without \"literal\": " + names,
                        "names our own resources by type and id", kAskThem});
  }
  findings.push_back(JudgeKnown(capability, wants, interaction,
                                {"Patient", "references.patient", wants.patients}));
  findings.push_back(JudgeKnown(capability, wants, interaction,
                                {"Encounter", "references.encounter", wants.encounters}));
}

}  // namespace dwell::delivery
