// What the daemon goes by and may read again while it runs: policy, zone, code maps, additions.
#pragma once

#include <memory>
#include <optional>
#include <string>

#include "daemon/config/config.h"
#include "mapping/codes/codes.h"
#include "mapping/due/due.h"
#include "mapping/fhir/additions.h"
#include "schemas/bundled.h"

namespace dwell::app {

struct Knowledge {
  due::Policy policy;
  due::Zone zone;
  codes::CodeMap codes;
  std::optional<fhir::Additions> additions;
};

using KnowledgePtr = std::shared_ptr<const Knowledge>;

/// From the files that the configuration names, as they are now. Errors: kConfig, with all findings
/// in words; those of the zone.
Result<KnowledgePtr> LoadKnowledge(const config::Config& config, const schemas::Bundled& schemas);

/// What is in use, for whoever had it read again: a JSON object with the policy's name and version.
std::string InUse(const Knowledge& knowledge);

}  // namespace dwell::app
