// The configuration read again while the daemon runs: what of it counts at once. Pure.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "daemon/config/config.h"

namespace dwell::config {

/// Reads the configuration as it is now, from where it was read at the start.
using Reader = std::function<Result<Config, std::vector<Finding>>()>;

struct Reread {
  Config config;  ///< the running one, with what of the fresh one counts at once
  /// What else is different, by key as in the file, e.g. "store.path", "endpoints.second"; a list
  /// for a person.
  std::vector<std::string> needs_restart;
};

Reread ReadAgain(const Config& running, const Config& fresh);

}  // namespace dwell::config
