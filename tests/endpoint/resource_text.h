// A received resource -> what the practice endpoint stores: references resolved, id and meta set.
#pragma once

#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "schemas/json/document.h"

namespace practice {

/// fullUrl of an entry, or conditional reference -> "Type/id" it was stored under.
using Targets = std::unordered_map<std::string, std::string>;

struct ResourceText {
  std::string json;
  std::vector<std::string> references;   ///< relative ones, "Type/id"
  std::vector<std::string> unresolved;   ///< urn:uuid references to nothing in the bundle
  std::vector<std::string> searches;     ///< conditional references without a target
  std::vector<std::string> identifiers;  ///< "system|value"; of tags "_tag:system|code"
};

struct Stamp {
  std::string id, version, modified;
};

/// Every member "reference" that names a fullUrl of the bundle becomes the relative reference (FHIR
/// R4 http.html#trules).
ResourceText Rewrite(dwell::schemas::Value resource, const Targets& targets, const Stamp& stamp);

/// A stored resource with its type, id, meta and the elements named ("identifier,active") only; the
/// whole when none is named (FHIR R4 search.html#elements).
std::string Subset(const std::string& json, std::string_view elements);

/// "2026-03-27T09:00:00.000Z" for now.
std::string InstantNow();
/// IMF-fixdate (RFC 9110 section 5.6.7) for `seconds` from now.
std::string HttpDate(int seconds_from_now);
/// An OperationOutcome with one issue.
std::string Outcome(std::string_view code, std::string_view diagnostics);

}  // namespace practice
