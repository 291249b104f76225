#include "daemon/delivery/findings_style.h"

#include <array>

#include "daemon/delivery/findings_types.h"
#include "mapping/fhir/plan.h"

namespace dwell::delivery {
namespace {

constexpr Grade kOk = Grade::kOk;
constexpr Grade kDoubtful = Grade::kDoubtful;
constexpr Grade kCannot = Grade::kCannot;

/// What each interaction does, in the order of Interaction.
constexpr std::array kWays = {
    "sends each change of a line as one transaction, all or nothing",
    "sends each change of a line as a batch, whose entries stand alone; it is completed when all "
    "are",
    "sends each resource by itself, in order; a change of a line is completed when all are"};

const char* WayOf(const WriteStyle& style) {
  return kWays[static_cast<std::size_t>(style.interaction)];
}

/// What the statement says of the interactions of the whole system.
std::string Found(const Capability& capability) {
  if (capability.interactions.empty()) return "does not say whether it takes transactions";
  if (Lists(capability.interactions, "transaction")) return "takes transactions";
  if (Lists(capability.interactions, "batch")) return "lists batches, not transactions";
  return "lists what it takes, and neither transaction nor batch is among it";
}

Finding JudgeInteraction(const Capability& capability, const Wants& wants,
                         const WriteStyle& style) {
  Finding finding = {kOk, "writing", Found(capability), WayOf(style), ""};
  finding.will += " (endpoint.writes = \"";
  finding.will += wants.pins.interaction ? InteractionName(*wants.pins.interaction) : "auto";
  finding.will += "\")";
  const auto& listed = capability.interactions;
  const bool is_listed = style.interaction == Interaction::kSingle ||
                         Lists(listed, InteractionName(style.interaction));
  if (!is_listed) {
    finding.grade = listed.empty() ? kDoubtful : kCannot;
    finding.to_do = listed.empty() ? kAskThem : "set endpoint.writes = \"auto\"";
  } else if (style.interaction != Interaction::kTransaction) {
    finding.grade = kDoubtful;
    finding.to_do = Lists(listed, "transaction")
                        ? "set endpoint.writes = \"auto\": nothing is then ever there in part"
                        : "ask who runs the endpoint whether it takes transactions after all; if "
                          "so, set endpoint.writes = \"transaction\"";
  }
  return finding;
}

/// Whether a search by `parameter` is among those that the type lists, if it lists any.
bool MaySearch(const TypeCapability* type, std::string_view parameter) {
  return type == nullptr || type->search_parameters.empty() ||
         Lists(type->search_parameters, parameter);
}

/// For conditional updates: by what each type is found again.
Finding JudgeIdentity(const Capability& capability, const Wants& wants) {
  Finding finding = {kOk, "identity", "takes conditions for our types",
                     "finds each resource again by an identifier of ours; the ids are theirs", ""};
  finding.will += wants.pins.identity ? " (endpoint.identity = \"conditional-update\")"
                                      : " (endpoint.identity = \"auto\")";
  std::string names;
  for (const std::string_view name : fhir::TypesWritten(wants.release)) {
    const std::string_view parameter = name == "Provenance" ? "_tag" : "identifier";
    if (MaySearch(capability.Find(name), parameter)) continue;
    names.append(names.empty() ? "" : ", ").append(name).append(" by ").append(parameter);
  }
  if (names.empty()) return finding;
  finding.grade = kDoubtful;
  finding.found = "lists search parameters, and these are not among them: " + names;
  finding.to_do = "ask who runs the endpoint: a condition that it does not know must be refused";
  return finding;
}

/// Of an endpoint that holds resources of ours written otherwise than the configuration now says.
Finding JudgeChange(Identity in_use) {
  const bool were_ours = in_use == Identity::kUpdateAsCreate;
  Finding finding = {were_ours ? kDoubtful : kCannot, "identity held", "", "", ""};
  if (were_ours) {
    finding.found = "holds resources under ids of ours";
    finding.will = "finds them again by our identifiers, as endpoint.identity says";
    finding.to_do =
        "ask who runs the endpoint whether it must be; if so, dwell reconcile --send gives what is "
        "there the identifiers by which others name it; else set endpoint.identity = \"auto\"";
  } else {
    finding.found = "holds resources under ids of its own";
    finding.will =
        "writes all under ids of ours, as endpoint.identity says: what is there stays, "
        "and every line is there twice";
    finding.to_do = "set endpoint.identity = \"auto\", unless what is there was removed";
  }
  return finding;
}

/// The identity in use stays although the statement is against it.
Finding JudgeDoubted(Identity identity) {
  const bool is_ours = identity == Identity::kUpdateAsCreate;
  return {kDoubtful, "identity held",
          is_ours ? "holds resources under ids of ours, and says that it takes none"
                  : "holds resources under ids of its own, and says that it takes no conditions",
          "goes on as it began: by another identity the endpoint would hold every line twice",
          is_ours ? "ask who runs the endpoint whether ids of ours are still taken; if not, set "
                    "endpoint.identity = \"conditional-update\" and then dwell reconcile --send"
                  : "ask who runs the endpoint whether conditional updates are still taken; if "
                    "not, what is there must be removed before endpoint.identity may change"};
}

Finding JudgeSharing(const WriteStyle& style) {
  return {kOk, "sharing", "no statement says how much fits into a request",
          "puts up to " + std::to_string(style.share_max) +
              " bundles into one request where many wait, and halves it when the endpoint says "
              "that it is too large (endpoint.share_max)",
          ""};
}

/// Our profiles want a literal reference where a resource names one of the same line; outside of a
/// transaction nobody but the endpoint could write it.
bool BreaksProfiles(const WriteStyle& style) {
  return style.identity == Identity::kConditionalUpdate &&
         style.interaction != Interaction::kTransaction;
}

Finding JudgeProfiles() {
  return {
      kDoubtful, "profiles",
      "references among our resources can only go by identifier, which our profiles do not allow",
      "names our profiles all the same (resources.profiles = true)",
      "set resources.profiles = false"};
}

}  // namespace

void JudgeStyle(const Capability& capability, const Wants& wants, const WriteStyle& style,
                std::vector<Finding>& findings) {
  findings.push_back(JudgeInteraction(capability, wants, style));
  if (style.identity == Identity::kConditionalUpdate) {
    findings.push_back(JudgeIdentity(capability, wants));
  }
  if (wants.in_use && *wants.in_use != style.identity) {
    findings.push_back(JudgeChange(*wants.in_use));
  } else if (style.is_doubted) {
    findings.push_back(JudgeDoubted(style.identity));
  }
  if (style.share_max > 1 && style.interaction != Interaction::kSingle) {
    findings.push_back(JudgeSharing(style));
  }
  if (wants.profiles && BreaksProfiles(style)) findings.push_back(JudgeProfiles());
}

}  // namespace dwell::delivery
