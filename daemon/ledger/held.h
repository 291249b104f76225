// What a stored Bundle of ours holds, read back from its bytes. Pure.
#pragma once

#include <functional>
#include <list>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/fhir/bundle.h"
#include "schemas/bundled.h"
#include "schemas/json/document.h"

namespace dwell::ledger {

/// How a resource breaks our own structure, in words without values; empty when it does not.
std::string FaultOf(schemas::Value resource, const schemas::Bundled& schemas);

/// Told of an entry: "Type/id", and the resource, which lives until it returns.
using EachEntry = std::function<void(std::string_view name, schemas::Value resource)>;
/// Goes through the entries of a transaction Bundle of ours, in order. False when the text is none.
bool ReadEntries(std::string_view bundle, const EachEntry& each);

struct Held {
  std::vector<std::string> names;  ///< "Type/id" of each resource, in order
  std::string fault;  ///< the first resource that breaks our own structure, and how; or empty
};

/// Fails (kData) when the text is no transaction Bundle of ours.
Result<Held> ReadHeld(std::string_view bundle, const schemas::Bundled& schemas);

/// What the bundle held counts as not issued from now on: all of it that the line still calls for
/// is in the next bundle. The entries stay: the endpoint may hold an earlier version, or even this
/// one, and a Task that is not called for any more must then be withdrawn. Returns the names of
/// what is forgotten so: all but the Provenance, which is about that one bundle.
std::vector<std::string> ForgetIssued(const Held& held, std::vector<fhir::Issued>& issued);

/// The same of all that the line has issued: for a bundle of which nobody can say what it held.
std::vector<std::string> ForgetAllIssued(std::vector<fhir::Issued>& issued);

/// Whether it counts as not issued, by ForgetIssued().
bool IsForgotten(const fhir::Issued& one);

/// Resources as they were last issued, looked for in the line's bundles, the newest first.
class LastIssued {
 public:
  /// `wanted`: "Type/id".
  explicit LastIssued(std::vector<std::string> wanted);

  /// Whether all that is wanted was found.
  bool complete() const { return wanted_.empty(); }
  /// Takes what is still wanted out of one more bundle; nothing when its text cannot be read.
  void Look(std::string_view bundle, std::int64_t endpoint = 0);
  struct Found {
    schemas::Value resource;
    std::int64_t endpoint = 0;  ///< that the bundle was for
  };
  /// Empty when none of the bundles held it.
  std::optional<Found> Find(const std::string& name) const;

 private:
  std::set<std::string> wanted_;
  std::map<std::string, Found> found_;
  std::list<schemas::Document> documents_;  // which `found_` points into
};

}  // namespace dwell::ledger
