// The policy file: TOML, checked by schemas/policy.schema.json, read by mapping/due.
#pragma once

#include <string>
#include <vector>

#include "daemon/config/toml.h"
#include "mapping/due/policy.h"

namespace dwell::config {

/// Reads the policy in `file`, or says everything that is wrong with it and where.
Result<due::Policy, std::vector<Finding>> LoadPolicy(const std::string& file);

}  // namespace dwell::config
