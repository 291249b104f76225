#include "daemon/ledger/held.h"

#include <algorithm>
#include <utility>

#include "daemon/base/limits.h"
#include "schemas/json/document.h"

namespace dwell::ledger {
namespace {

/// Ours to read, however many events' resources it holds.
constexpr schemas::ParseLimits kBundleLimits{
    .bytes_max = 256 * limits::kMiB, .depth_max = 40, .values_max = 20'000'000};

/// The fingerprint of no resource, but for one chance in 2^64: it always has changed since.
constexpr std::uint64_t kMakeAgain = 0;

}  // namespace

std::string FaultOf(schemas::Value resource, const schemas::Bundled& schemas) {
  const auto violations = schemas.CheckResource(resource);
  if (violations.empty()) return {};
  return "breaks its structure at " + violations[0].pointer + ": " + violations[0].rule +
         ", expected " + violations[0].expected;
}

Result<Held> ReadHeld(std::string_view bundle, const schemas::Bundled& schemas) {
  const Error unreadable(ErrorKind::kData, "its stored bundle can no longer be read");
  const auto document = schemas::Document::Parse(bundle, kBundleLimits);
  if (document.has_error() || !document->root().is_object()) return unreadable;
  const auto entries = document->root().Find("entry");
  if (!entries || !entries->is_array()) return unreadable;
  Held held;
  for (const schemas::Value entry : *entries) {
    const auto resource = entry.is_object() ? entry.Find("resource") : std::nullopt;
    const auto request = entry.is_object() ? entry.Find("request") : std::nullopt;
    const auto url = request && request->is_object() ? request->Find("url") : std::nullopt;
    if (!resource || !url || !url->is_string()) return unreadable;
    held.names.emplace_back(url->AsString());
    if (!held.fault.empty()) continue;
    const std::string fault = FaultOf(*resource, schemas);
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

}  // namespace dwell::ledger
