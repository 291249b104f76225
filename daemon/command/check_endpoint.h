// `dwell check --endpoint`: what the endpoint says of itself, and what that means for us.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "daemon/config/config.h"
#include "daemon/delivery/findings.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// Asks the endpoints of a checked configuration, or the one of that name (no event is sent), and
/// prints the findings to standard output, as JSON lines if `json`; of several each is named.
/// Returns the exit code: 0 when nothing is worse than doubtful, 69 when an endpoint or a token
/// could not be had, 78 when something cannot work as configured or TLS failed, or no endpoint has
/// that name; of several the first that is not 0.
int CheckEndpoints(const config::Config& config, const std::string& name, bool json);

/// By what the endpoint of that name holds resources of ours, as the daemon's status row says
/// (admin/rows.h); empty when it does not. Pure.
std::optional<delivery::Identity> HeldBy(schemas::Value status, const std::string& endpoint);

/// For a person: grade, subject and what was found; below it what dwelld does and, unless it is
/// ok, what to do. Pure.
std::string FindingsAsText(const std::vector<delivery::Finding>& findings);

/// One object a line: endpoint (its name, unless empty), grade ("ok", "doubtful", "cannot"), about,
/// found, will, and to_do unless it is ok. Pure.
std::string FindingsAsJson(const std::vector<delivery::Finding>& findings,
                           const std::string& endpoint = {});

}  // namespace dwell::command
