// `dwell check`: everything that can be known to be wrong before the daemon is started.
#pragma once

#include <string>

#include "daemon/command/options.h"

namespace dwell::command {

/// Reads the configuration, the policy, the time zone, the code maps and the bundled schemas.
/// Prints every finding to standard error, or the configuration in effect to standard output; then,
/// to standard error, which codes go out in our own words (each of them with --verbose) and which
/// unknown ones the daemon of this configuration saw, if it runs, and the version of the tz data.
/// With --endpoint, when all that is right, asks the endpoint instead (check_endpoint.h). Returns
/// the exit code: 0, 78 (configuration or policy), 65 (schemas), or that of the endpoint.
int Check(const std::string& config_file, const Options& options);

}  // namespace dwell::command
