// What goes out: the FHIR R4 resources of a line, and the transaction Bundle that carries those of
// them that changed. Pure: the same line, dues and context give the same bytes.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/codes/codes.h"
#include "mapping/due/due.h"
#include "mapping/fhir/additions.h"
#include "mapping/fhir/meta.h"
#include "mapping/fhir/references.h"
#include "mapping/line/line.h"
#include "schemas/release.h"

namespace dwell::fhir {

/// What is the same for every resource of an installation.
struct Context {
  std::string site_namespace;  ///< absolute URI; scope of our identifiers and of all ids
  bool test_data = false;      ///< label everything with the security label HTEST
  const codes::CodeMap* codes = nullptr;
  const due::Zone* zone = nullptr;  ///< for times in narratives
  FhirRelease release = FhirRelease::kR4;
  ReferenceForm patients = ReferenceForm::kIdentifier;    ///< how patients are referred to
  ReferenceForm encounters = ReferenceForm::kIdentifier;  ///< likewise
  bool profiles = false;                 ///< meta.profile names our profile of the type
  std::vector<SecurityLabel> security;   ///< behind the test label
  const Additions* additions = nullptr;  ///< what the site adds; null: nothing
};

/// What was last issued of one resource of the line.
struct Issued {
  std::string type;
  std::string id;
  /// Over everything the resource is made from: event, standing, links, due, code map, and what
  /// of Context is not for narratives only.
  /// Not over the time of making.
  std::uint64_t fingerprint = 0;
  std::uint32_t version = 0;  ///< how often it was issued

  friend bool operator==(const Issued&, const Issued&) = default;
};

struct Resource {
  std::string type;
  std::string id;
  std::string json;  ///< compact, UTF-8
  /// What it is within its line: RoleRow::name; empty for a Provenance.
  std::string_view role{};
};

/// Why a bundle is made.
struct Cause {
  /// The event that came in; null when no event did: time alone changed something.
  const event::Event* event = nullptr;
  Instant recorded;  ///< when we made it: Provenance.recorded, Task.lastModified
  std::uint64_t sequence =
      0;  ///< counts the bundles of this line, from 1: identity of the Provenance
  /// Without an event: the same events were written otherwise, since the code map, the policy, this
  /// program or its clock was changed. The author is then this program, as for the passing of time.
  bool derived_again = false;
};

struct Made {
  std::vector<Resource> resources;  ///< new or changed, Provenance last; empty when nothing changed
  std::vector<Issued> issued;       ///< the whole list after this bundle, sorted by type and id
};

/// Decided here: the ids of an event's resources hang on the root of its chain of replacements, so
/// a correction is a new version; what a correction no longer makes becomes entered-in-error. A
/// failed insertion that tells its attempts is those attempts. A second identifier of the patient
/// is not passed on (a FHIR reference holds one). Provenances are made once and never stand in
/// `issued`. Makes every resource of the line that differs from what `issued` says was last issued.
/// Never makes again what did not change, so that the cost is that of the change.
Made Make(const line::Line& line, const std::vector<due::Due>& dues, const Context& context,
          const std::vector<Issued>& issued, const Cause& cause);

/// `resources` must not be empty (R4 wants at least one entry).
/// A transaction Bundle that puts each resource under its own id (update as create).
std::string TransactionBundle(const std::vector<Resource>& resources);

/// The entries of a bundle as TransactionBundle() writes it, as text, without parsing; empty when
/// it begins or ends otherwise.
std::optional<std::string_view> EntriesText(std::string_view bundle);
/// One transaction Bundle of the entries of several, which must write different resources.
std::string JoinEntries(const std::vector<std::string_view>& entries);

/// Name-based UUID (version 5, RFC 4122) over the site namespace and `parts`, as lower-case text.
/// The parts are joined unambiguously.
std::string NameBasedUuid(std::string_view site_namespace,
                          std::initializer_list<std::string_view> parts);

/// Resource ids are "dwell-" and the UUID: they start with a letter, which every server accepts.
std::string ResourceId(std::string_view site_namespace,
                       std::initializer_list<std::string_view> parts);

}  // namespace dwell::fhir
