// What the daemon goes by and may read again while it runs: policy, zone, code maps, additions.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/config/config.h"
#include "daemon/ledger/ledger.h"
#include "mapping/codes/codes.h"
#include "mapping/due/policy.h"
#include "mapping/fhir/additions.h"
#include "schemas/bundled.h"

namespace dwell::app {

/// Immutable.
struct Knowledge {
  due::Policy policy;
  due::Zone zone;
  std::string tz_version;  ///< of the tz data that the zone is from
  codes::CodeMap codes;
  std::optional<fhir::Additions> additions;
};

/// The files that the configuration names, as they are now. Errors: everything that is wrong with
/// the first that is wrong, in words, a line each.
Result<std::shared_ptr<const Knowledge>> LoadKnowledge(const config::Config& config,
                                                       const schemas::Bundled& schemas);

/// What the ledger works by; it shares in `knowledge`, and `schemas` outlives it.
ledger::Rules RulesOf(const std::shared_ptr<const Knowledge>& knowledge,
                      const schemas::Bundled& schemas, const config::Config& config,
                      std::vector<ledger::Destination> destinations);

/// Findings as one text, a line each.
std::string AllFindings(const std::vector<config::Finding>& findings);

}  // namespace dwell::app
