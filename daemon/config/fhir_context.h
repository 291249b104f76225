// What resources are made with, as far as the configuration says it.
#pragma once

#include "daemon/config/config.h"
#include "mapping/fhir/bundle.h"

namespace dwell::config {

/// Code maps, zone and additions are for the caller to load and to point to.
fhir::Context ContextOf(const Config& config);

}  // namespace dwell::config
