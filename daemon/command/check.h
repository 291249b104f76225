// `dwell check`: everything that can be known to be wrong before the daemon is started.
#pragma once

#include <string>

namespace dwell::command {

/// Reads the configuration, the policy, the time zone, the code maps and the bundled schemas.
/// Prints every finding to standard error, or the configuration in effect to standard output.
/// Returns the exit code: 0, 78 (configuration or policy), 65 (schemas).
int Check(const std::string& config_file);

}  // namespace dwell::command
