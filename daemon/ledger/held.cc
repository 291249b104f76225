#include "daemon/ledger/held.h"

#include <algorithm>
#include <iterator>
#include <utility>

#include "daemon/base/limits.h"

namespace dwell::ledger {
namespace {

/// Ours to read, however many events' resources it holds.
constexpr schemas::ParseLimits kBundleLimits{
    .bytes_max = 256 * limits::kMiB, .depth_max = 40, .values_max = 20'000'000};

/// The fingerprint of no resource, but for one chance in 2^64: it always has changed since.
constexpr std::uint64_t kMakeAgain = 0;

/// One entry of a Bundle of ours; empty when it is none.
struct Entry {
  schemas::Value resource;
  std::string_view name;  ///< "Type/id"
};
std::optional<Entry> ReadEntry(schemas::Value entry) {
  const auto resource = entry.is_object() ? entry.Find("resource") : std::nullopt;
  const auto request = entry.is_object() ? entry.Find("request") : std::nullopt;
  const auto url = request && request->is_object() ? request->Find("url") : std::nullopt;
  if (!resource || !url || !url->is_string()) return std::nullopt;
  return Entry{*resource, url->AsString()};
}

/// The list of entries of a Bundle; empty when the text is none.
std::optional<schemas::Value> EntriesOf(const schemas::Document& document) {
  if (!document.root().is_object()) return std::nullopt;
  const auto entries = document.root().Find("entry");
  return entries && entries->is_array() ? entries : std::nullopt;
}

}  // namespace

std::string FaultOf(schemas::Value resource, const schemas::Bundled& schemas) {
  const auto violations = schemas.CheckResource(resource);
  if (violations.empty()) return {};
  return "breaks its structure at " + violations[0].pointer + ": " + violations[0].rule +
         ", expected " + violations[0].expected;
}

bool ReadEntries(std::string_view bundle, const EachEntry& each) {
  const auto document = schemas::Document::Parse(bundle, kBundleLimits);
  const auto entries = document ? EntriesOf(*document) : std::nullopt;
  if (!entries) return false;
  for (const schemas::Value one : *entries) {
    const auto entry = ReadEntry(one);
    if (!entry) return false;
    each(entry->name, entry->resource);
  }
  return true;
}

Result<Held> ReadHeld(std::string_view bundle, const schemas::Bundled& schemas) {
  const Error unreadable(ErrorKind::kData, "its stored bundle can no longer be read");
  const auto document = schemas::Document::Parse(bundle, kBundleLimits);
  const auto entries = document ? EntriesOf(*document) : std::nullopt;
  if (!entries) return unreadable;
  Held held;
  for (const schemas::Value each : *entries) {
    const auto entry = ReadEntry(each);
    if (!entry) return unreadable;
    held.names.emplace_back(entry->name);
    if (!held.fault.empty()) continue;
    const std::string fault = FaultOf(entry->resource, schemas);
    if (!fault.empty()) held.fault = "our own " + held.names.back() + " " + fault;
  }
  return held;
}

std::vector<std::string> ForgetIssued(const Held& held, std::vector<fhir::Issued>& issued) {
  std::vector<std::string> forgotten;
  std::vector<std::string_view> names(held.names.begin(), held.names.end());
  std::ranges::sort(names);
  for (fhir::Issued& one : issued) {
    std::string name = one.type + "/" + one.id;
    if (!std::ranges::binary_search(names, name)) continue;
    one.fingerprint = kMakeAgain;
    forgotten.push_back(std::move(name));
  }
  return forgotten;
}

std::vector<std::string> ForgetAllIssued(std::vector<fhir::Issued>& issued) {
  std::vector<std::string> forgotten;
  forgotten.reserve(issued.size());
  for (fhir::Issued& one : issued) {
    one.fingerprint = kMakeAgain;
    forgotten.push_back(one.type + "/" + one.id);
  }
  return forgotten;
}

bool IsForgotten(const fhir::Issued& one) { return one.fingerprint == kMakeAgain; }

LastIssued::LastIssued(std::vector<std::string> wanted)
    : wanted_(std::make_move_iterator(wanted.begin()), std::make_move_iterator(wanted.end())) {}

void LastIssued::Look(std::string_view bundle, std::int64_t endpoint) {
  auto document = schemas::Document::Parse(bundle, kBundleLimits);
  if (document.has_error()) return;
  const schemas::Document& kept = documents_.emplace_back(std::move(*document));
  const auto entries = EntriesOf(kept);
  if (!entries) return;
  for (const schemas::Value each : *entries) {
    const auto entry = ReadEntry(each);
    if (!entry) continue;
    std::string name(entry->name);
    if (wanted_.erase(name) != 0) found_.emplace(std::move(name), Found{entry->resource, endpoint});
  }
}

std::optional<LastIssued::Found> LastIssued::Find(const std::string& name) const {
  const auto found = found_.find(name);
  return found == found_.end() ? std::nullopt : std::optional(found->second);
}

}  // namespace dwell::ledger
