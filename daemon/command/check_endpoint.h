// `dwell check --endpoint`: what the endpoint says of itself, and what that means for us.
#pragma once

#include <string>
#include <vector>

#include "daemon/config/config.h"
#include "daemon/delivery/findings.h"

namespace dwell::command {

/// Asks the endpoint of a checked configuration (no event is sent) and prints the findings to
/// standard output, as JSON lines if `json`. Returns the exit code: 0 when nothing is worse than
/// doubtful, 69 when the endpoint or a token could not be had, 78 when something cannot work as
/// configured or TLS failed.
int CheckEndpoint(const config::Config& config, bool json);

/// For a person: grade, subject and what was found; below it what dwelld does and, unless it is
/// ok, what to do. Pure.
std::string FindingsAsText(const std::vector<delivery::Finding>& findings);

/// One object a line: grade ("ok", "doubtful", "cannot"), about, found, will, and to_do unless it
/// is ok. Pure.
std::string FindingsAsJson(const std::vector<delivery::Finding>& findings);

}  // namespace dwell::command
