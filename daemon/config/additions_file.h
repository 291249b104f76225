// The file with what a site adds to each resource type: JSON, read and judged by mapping/fhir.
#pragma once

#include <string>
#include <vector>

#include "daemon/config/toml.h"
#include "mapping/fhir/additions.h"

namespace dwell::config {

/// Reads the additions in `file` for what is written in that release, or says everything that is
/// wrong with them and where. `schemas` are of the same release.
Result<fhir::Additions, std::vector<Finding>> LoadAdditions(const std::string& file,
                                                            const schemas::Bundled& schemas,
                                                            FhirRelease release);

}  // namespace dwell::config
