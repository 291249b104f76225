// What a schema cannot say of a configuration: which keys go together, and what a URL must be.
// Pure.
#pragma once

#include <vector>

#include "daemon/config/config.h"

namespace dwell::config {

/// Empty when all is well; `toml` is what `config` was read from, for the lines of findings.
std::vector<Finding> CheckTogether(const Config& config, const TomlDocument& toml);

}  // namespace dwell::config
