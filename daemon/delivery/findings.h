// What an endpoint's own words mean for us: (answers to what we asked, how we are configured) ->
// findings for a person. One table, pure. At run time only the choice of the write style goes by
// the same words (write_style.h): they are often wrong, and what the endpoint answers to a delivery
// is what counts.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/delivery/write_style.h"
#include "daemon/net/exchange.h"
#include "mapping/fhir/selection.h"
#include "schemas/release.h"

namespace dwell::delivery {

/// From best to worst.
enum class Grade : std::uint8_t {
  kOk,
  kDoubtful,  ///< it may work; nobody says so, or the wrong people do
  kCannot,    ///< by these words it cannot work
};

/// One line of the report. Texts hold nothing secret; what the peer wrote is cut and cleaned.
struct Finding {
  Grade grade = Grade::kOk;
  std::string about;
  std::string found;
  std::string will;   ///< what dwelld does all the same
  std::string to_do;  ///< empty when it is ok
};

/// How patients or encounters are named; see [references] of the configuration.
enum class Naming : std::uint8_t { kIdentifier, kConditional, kResolved };

/// How we ask to be let in, besides a client certificate.
enum class Admission : std::uint8_t { kNothing, kBearer, kTokens };

/// What we are configured to do.
struct Wants {
  FhirRelease release = FhirRelease::kR4;
  fhir::Types types;  ///< of resources that go there; empty: all
  Naming patients = Naming::kIdentifier;
  Naming encounters = Naming::kIdentifier;
  Admission admission = Admission::kNothing;
  bool has_certificate = false;
  std::string token_url;  ///< for Admission::kTokens
  Pins pins;
  std::optional<Identity> in_use;  ///< by what it holds resources of ours, if that is known
  bool profiles = false;           ///< meta.profile names our profiles
};

/// `exchange` is GET [base]/metadata. Never empty. Without a complete answer the only finding says
/// so and is kCannot; with an answer that is no statement it is kDoubtful.
std::vector<Finding> JudgeStatement(const net::Exchange& exchange, const Wants& wants);

/// `exchange` is GET [base]/.well-known/smart-configuration; for Admission::kTokens only.
Finding JudgeSmart(const net::Exchange& exchange, const Wants& wants);

/// The worst grade among them.
Grade Worst(const std::vector<Finding>& findings);

}  // namespace dwell::delivery
