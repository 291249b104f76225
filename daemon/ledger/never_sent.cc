#include "daemon/ledger/never_sent.h"

#include <algorithm>
#include <iterator>
#include <set>
#include <utility>

#include "daemon/ledger/held.h"
#include "daemon/ledger/issued_code.h"
#include "schemas/json/write_value.h"

namespace dwell::ledger {
namespace {

using store::BundleRecord;
using Names = std::set<std::string, std::less<>>;

/// What each endpoint gets; null for one that is not configured.
const fhir::Types* TypesOf(const Rules& rules, std::int64_t endpoint) {
  const auto found = std::ranges::find(rules.destinations, endpoint, &Destination::number);
  return found == rules.destinations.end() ? nullptr : &found->types;
}

/// Whether texts for another endpoint may be taken from it: those for one that gets only some types
/// have their references written otherwise.
bool IsSource(const Rules& rules, const BundleRecord& bundle, std::int64_t endpoint) {
  if (bundle.endpoint == endpoint || !bundle.kept) return false;
  if (bundle.state == store::DeliveryState::kOnHold) return false;  // perhaps not even legal
  const fhir::Types* const types = TypesOf(rules, bundle.endpoint);
  return types != nullptr && types->empty();
}

Result<std::string> BodyOf(store::Store& store, const BundleRecord& listed, std::size_t& pieces) {
  const auto bundle = store.FindBundle(listed.seq);
  if (bundle.has_error()) return bundle.error();
  ++pieces;
  return bundle.value() ? bundle.value()->body : std::string();
}

/// What the endpoint has, or gets by what waits. Empty: that is no longer known.
Result<std::optional<Names>> NamesAt(store::Store& store, const std::vector<BundleRecord>& bundles,
                                     std::int64_t endpoint, std::size_t& pieces) {
  std::optional<Names> names(std::in_place);
  for (const BundleRecord& listed : bundles) {
    if (listed.endpoint != endpoint) continue;
    if (!listed.kept) return std::optional<Names>();
    const auto body = BodyOf(store, listed, pieces);
    if (body.has_error()) return body.error();
    const bool is_read =
        ReadEntries(*body, [&](std::string_view name, schemas::Value) { names->emplace(name); });
    if (!is_read) return std::optional<Names>();
  }
  return names;
}

NeverSent TextOf(const BundleRecord& listed, std::string_view name, schemas::Value resource) {
  NeverSent one;
  one.resource.type = name.substr(0, name.find('/'));
  one.resource.id = name.substr(one.resource.type.size() + 1);
  schemas::JsonWriter json;
  schemas::WriteValue(json, resource);
  one.resource.json = json.Take();
  one.bundle_seq = listed.seq;
  one.at = listed.settled_at.value_or(listed.made_at);
  return one;
}

}  // namespace

Result<std::vector<NeverSent>> FindNeverSent(store::Store& store, const Rules& rules,
                                             const store::LineRecord& record, std::int64_t endpoint,
                                             std::size_t& pieces) {
  const std::vector<NeverSent> none;
  const fhir::Types* const types = TypesOf(rules, endpoint);
  const auto issued = record.damaged ? std::nullopt : DecodeIssued(record.issued);
  if (types == nullptr || record.no_longer_kept_since || !issued) return none;
  const auto bundles = store.BundlesSince(record.seq, Instant::min());
  if (bundles.has_error()) return bundles.error();
  auto names = NamesAt(store, bundles.value(), endpoint, pieces);
  if (names.has_error()) return names.error();
  if (!names->has_value()) return none;
  Names& seen = **names;
  for (const fhir::Issued& one : *issued) {
    if (IsForgotten(one)) seen.insert(one.type + "/" + one.id);
  }
  std::vector<std::vector<NeverSent>> found;  // of each bundle, the newest first
  for (const BundleRecord& listed : bundles.value()) {
    if (!IsSource(rules, listed, endpoint)) continue;
    const auto body = BodyOf(store, listed, pieces);
    if (body.has_error()) return body.error();
    std::vector<NeverSent>& here = found.emplace_back();
    ReadEntries(*body, [&](std::string_view name, schemas::Value resource) {
      const bool is_wanted = types->empty() || types->contains(name.substr(0, name.find('/')));
      if (is_wanted && seen.emplace(name).second) here.push_back(TextOf(listed, name, resource));
    });
  }
  std::vector<NeverSent> all;
  for (auto each = found.rbegin(); each != found.rend(); ++each) {
    std::ranges::move(*each, std::back_inserter(all));
  }
  return all;
}

}  // namespace dwell::ledger
