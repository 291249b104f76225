// A frozen transaction bundle -> its entries as another style writes them: requests, identifiers
// and references changed, all else as it was. Pure and deterministic.
//
// What our bundles bring: every resource but Provenance carries a business identifier of ours
// (".../resource" or ".../task") as its first; references among our own resources are "Type/id"
// and bring no identifier. So with conditional updates
// - the request goes by that business identifier, which is the same in every style;
// - each resource gets one more identifier, the UUID that its id is made of (system
//   urn:ietf:rfc:3986, R4 datatypes.html#Identifier), by which others can name it;
// - a Provenance, which has no identifier (R4 provenance.html), gets a tag with the UUID and is a
//   conditional create by it: it is made once and never changed;
// - references inside the bundle become urn:uuid:..., those to earlier bundles a search by the
//   UUID; both are legal in a transaction only (R4 http.html#trules). Elsewhere all are logical
//   (R4 references.html#logical): {"type","identifier"}.
// Searches for patients and encounters are left out where they are not legal; the identifier that
// stands beside each stays.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/delivery/write_style.h"

namespace dwell::delivery {

struct Entry {
  std::string full_url;
  std::string type;           ///< of the resource
  std::string method;         ///< "PUT" or, for a conditional create, "POST"
  std::string url;            ///< below the base: "Type/id", "Type?identifier=..." or "Type"
  std::string if_none_exist;  ///< search of a conditional create; empty: it is none
  std::string resource;       ///< JSON
};

/// Whether it is a reference to a resource of ours: "Type/dwell-UUID".
bool IsOwn(std::string_view reference);

/// Empty when `frozen` is no bundle as fhir::TransactionBundle() writes it.
std::vector<Entry> EntriesOf(std::string_view frozen, Interaction interaction, Identity identity);

/// A Bundle of those entries, for kTransaction or kBatch.
std::string BundleOf(Interaction interaction, const std::vector<const Entry*>& entries);

}  // namespace dwell::delivery
