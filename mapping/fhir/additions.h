// What a site adds to the resources we make: one JSON Merge Patch (RFC 7396) for each resource
// type. It may add and decorate; it may not touch what says who, what, when and whether, nor take
// anything away.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "schemas/bundled.h"
#include "schemas/release.h"

namespace dwell::fhir {

/// `target` with `patch` applied, both JSON texts; compact. Members keep their order, new ones come
/// behind, numbers keep their text. Empty when one of the texts is no acceptable JSON.
std::optional<std::string> MergePatch(std::string_view target, std::string_view patch);

/// The patches of an installation, read once at start. Immutable.
class Additions {
 public:
  /// Reads an object whose members are resource types that we write in that release, each with an
  /// object as its patch. Fails with everything that is wrong, each with its JSON Pointer: no JSON,
  /// an unknown type, a protected member (table and reasons in additions_protected.cc), a null
  /// where it would take a member away, or a patch that breaks the structure in `schemas`, which
  /// are of the same release.
  static Result<Additions, std::vector<schemas::Violation>> Read(std::string_view text,
                                                                 const schemas::Bundled& schemas,
                                                                 FhirRelease release);

  /// The resource with what the site adds; unchanged when there is nothing for its type.
  std::string Apply(std::string_view type, std::string resource) const;

  /// Over what the patches say, not how they are laid out.
  std::uint64_t fingerprint() const { return fingerprint_; }

 private:
  Additions() = default;
  std::vector<schemas::Violation> Check(const schemas::Bundled& schemas) const;

  std::unique_ptr<const schemas::Document> document_;
  std::vector<std::pair<std::string_view, schemas::Value>> patches_;  ///< by type; of document_
  std::uint64_t fingerprint_ = 0;
};

/// Why a patch may not touch the member at `path` ("status", "meta.source"); empty when it may.
/// The companion of a primitive ("_status") counts as the member itself.
std::string_view WhyProtected(std::string_view path);

}  // namespace dwell::fhir
