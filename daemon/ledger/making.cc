#include "daemon/ledger/making.h"

#include <utility>

#include "daemon/ledger/held.h"
#include "daemon/ledger/summary.h"
#include "schemas/base/check.h"

namespace dwell::ledger {
namespace {

// Why the first resource that is not legal is not; empty when all are. Violations never carry
// values.
std::string FindFault(const std::vector<fhir::Resource>& resources,
                      const schemas::Bundled& schemas) {
  for (const fhir::Resource& resource : resources) {
    std::string fault;
    const auto document = schemas::Document::Parse(resource.json);
    if (document.has_error()) {
      fault = "is no JSON: " + document.error().rule;
    } else {
      fault = FaultOf(document->root(), schemas);
    }
    if (!fault.empty()) return "our own " + resource.type + " " + resource.id + " " + fault;
  }
  return {};
}

store::BundleRecord Pack(const std::vector<fhir::Resource>& resources, const Rules& rules,
                         Instant now) {
  store::BundleRecord bundle;
  bundle.made_at = now;
  bundle.why = FindFault(resources, *rules.schemas);
  if (!bundle.why.empty()) {
    bundle.state = store::DeliveryState::kOnHold;
    bundle.settled_at = now;
  }
  bundle.entries = static_cast<std::uint32_t>(resources.size());
  bundle.body = fhir::TransactionBundle(resources);
  return bundle;
}

}  // namespace

Derived DeriveResources(const line::Line& line, const std::vector<fhir::Issued>& issued,
                        const Rules& rules, const fhir::Cause& cause) {
  Derived derived;
  derived.dues = due::Compute(line, *rules.policy, *rules.zone, cause.recorded);
  derived.made = fhir::Make(line, derived.dues, rules.fhir, issued, cause);
  return derived;
}

Making MakeAll(const line::Line& line, const LineState& before, const Rules& rules,
               const event::Event* cause, Instant now) {
  Derived derived =
      DeriveResources(line, before.issued, rules,
                      {.event = cause, .recorded = now, .sequence = before.bundles + 1});
  return FinishMaking(line, std::move(derived), rules, now);
}

Making FinishMaking(const line::Line& line, Derived derived, const Rules& rules, Instant now) {
  const std::vector<due::Due>& dues = derived.dues;
  fhir::Made& made = derived.made;
  Making making;
  making.issued = std::move(made.issued);
  making.next_change = due::NextChange(dues);
  // Otherwise the clock would look at this line for ever without getting on.
  CHECK(!making.next_change || *making.next_change > now);
  making.summary = LineSummary(line, dues);
  making.ward = line.place().ward;
  making.news = !made.resources.empty();
  if (!making.news) return making;
  const store::BundleRecord* whole = nullptr;  // made once for all that take every type
  making.bundles.reserve(rules.destinations.size());
  for (const Destination& destination : rules.destinations) {
    if (destination.types.empty()) {
      making.bundles.push_back(whole != nullptr ? *whole : Pack(made.resources, rules, now));
      whole = &making.bundles.back();
    } else {
      const auto part = fhir::Select(destination.types, made.resources, line, dues, rules.fhir);
      if (part.empty()) continue;
      making.bundles.push_back(Pack(part, rules, now));
    }
    making.bundles.back().endpoint = destination.number;
  }
  return making;
}

std::string Making::fault() const {
  for (const store::BundleRecord& bundle : bundles) {
    if (bundle.state == store::DeliveryState::kOnHold) return bundle.why;
  }
  return {};
}

}  // namespace dwell::ledger
