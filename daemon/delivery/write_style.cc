#include "daemon/delivery/write_style.h"

#include <algorithm>
#include <array>

#include "mapping/fhir/plan.h"

namespace dwell::delivery {
namespace {

/// The type of ours that has no identifier and is never changed: for it a conditional create is
/// what a conditional update is for the others.
constexpr std::string_view kOnlyCreated = "Provenance";

Interaction ChooseInteraction(const Capability* capability, std::string& why) {
  if (capability == nullptr) {
    why = "the endpoint has no statement that could be read: the usual way is taken";
    return Interaction::kTransaction;
  }
  if (capability->interactions.empty()) {
    why = "the statement does not say whether transactions are taken: the usual way is taken";
    return Interaction::kTransaction;
  }
  if (Lists(capability->interactions, "transaction")) {
    why = "the statement lists transactions";
    return Interaction::kTransaction;
  }
  if (Lists(capability->interactions, "batch")) {
    why = "the statement lists batches, not transactions";
    return Interaction::kBatch;
  }
  why = "the statement lists what the endpoint takes, neither transactions nor batches";
  return Interaction::kSingle;
}

Identity ChooseIdentity(const Capability* capability, FhirRelease release, std::string& why) {
  const bool is_refused =
      capability != nullptr && SpeaksAgainst(*capability, Identity::kUpdateAsCreate, release);
  bool has_way_out = true;
  for (const std::string_view name : fhir::TypesWritten(release)) {
    const TypeCapability* const type = capability == nullptr ? nullptr : capability->Find(name);
    if (type == nullptr) continue;
    has_way_out = has_way_out && TakesConditions(*type);
  }
  if (!is_refused) {
    why = "nothing in it is against ids of ours";
    return Identity::kUpdateAsCreate;
  }
  if (has_way_out) {
    why = "it refuses ids of ours and takes conditional updates";
    return Identity::kConditionalUpdate;
  }
  why = "it refuses ids of ours, and does not take conditional updates of all our types either";
  return Identity::kUpdateAsCreate;
}

}  // namespace

std::string_view InteractionName(Interaction interaction) {
  constexpr std::array<std::string_view, 3> kNames = {"transaction", "batch", "single"};
  return kNames[static_cast<std::size_t>(interaction)];
}

std::string_view IdentityName(Identity identity) {
  constexpr std::array<std::string_view, 2> kNames = {"update-as-create", "conditional-update"};
  return kNames[static_cast<std::size_t>(identity)];
}

std::optional<Identity> IdentityOf(std::string_view name) {
  for (const auto identity : {Identity::kUpdateAsCreate, Identity::kConditionalUpdate}) {
    if (name == IdentityName(identity)) return identity;
  }
  return std::nullopt;
}

static std::optional<bool> ConditionsOf(const TypeCapability& type) {
  return type.type == kOnlyCreated ? type.conditional_create : type.conditional_update;
}

bool TakesConditions(const TypeCapability& type) { return ConditionsOf(type) == true; }

bool SpeaksAgainst(const Capability& capability, Identity identity, FhirRelease release) {
  return std::ranges::any_of(fhir::TypesWritten(release), [&](std::string_view name) {
    const TypeCapability* const type = capability.Find(name);
    if (type == nullptr) return false;
    const bool is_ours = identity == Identity::kUpdateAsCreate;
    return (is_ours ? type->update_create : ConditionsOf(*type)) == false;
  });
}

WriteStyle ChooseStyle(const Capability* capability, const Pins& pins, FhirRelease release,
                       std::optional<Identity> in_use) {
  if (capability != nullptr && !capability->is_server) capability = nullptr;
  WriteStyle style;
  style.share_max = pins.share_max;
  std::string how, by;
  style.interaction = ChooseInteraction(capability, how);
  if (pins.interaction) {
    style.interaction = *pins.interaction;
    how = "endpoint.writes says so";
  }
  style.identity = ChooseIdentity(capability, release, by);
  if (pins.identity) {
    style.identity = *pins.identity;
    by = "endpoint.identity says so";
  } else if (in_use && *in_use != style.identity) {
    style.identity = *in_use;
    by = "the endpoint already holds resources written so";
  }
  style.is_doubted = in_use == style.identity && capability != nullptr &&
                     SpeaksAgainst(*capability, style.identity, release);
  if (style.is_doubted) by += ", and its statement is against it: see dwell check --endpoint";
  style.why.append(InteractionName(style.interaction)).append(": ").append(how).append("; ");
  style.why.append(IdentityName(style.identity)).append(": ").append(by);
  return style;
}

std::size_t Fitting(const WriteStyle& style, const std::vector<Size>& bundles) {
  if (bundles.empty()) return 0;
  if (style.interaction == Interaction::kSingle) return 1;
  Size sum;
  std::size_t count = 0;
  for (const Size& bundle : bundles) {
    sum.entries += bundle.entries;
    sum.bytes += bundle.bytes;
    const bool fits =
        count < style.share_max && sum.entries <= style.entries_max && sum.bytes <= style.bytes_max;
    if (!fits) break;
    ++count;
  }
  return std::max<std::size_t>(1, count);
}

bool Shrink(WriteStyle& style, std::size_t entries) {
  const std::size_t half = std::max<std::size_t>(1, entries / 2);
  if (half >= style.entries_max) return false;
  style.entries_max = half;
  return true;
}

}  // namespace dwell::delivery
