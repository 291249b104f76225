// `dwell check`: everything that can be known to be wrong before the daemon is started.
#pragma once

#include <string>

namespace dwell::command {

/// Reads the configuration, the policy, the time zone, the code maps and the bundled schemas.
/// Prints every finding to standard error, or the configuration in effect to standard output; then,
/// to standard error, which codes go out in our own words (each of them if `verbose`) and which
/// unknown ones the daemon of this configuration saw, if it runs.
/// Returns the exit code: 0, 78 (configuration or policy), 65 (schemas).
int Check(const std::string& config_file, bool verbose);

}  // namespace dwell::command
