// `dwell explain`: where each field of a kind of event ends up, with the code maps and the release
// of FHIR that are configured. Asks no daemon.
#pragma once

#include "daemon/command/options.h"

namespace dwell::command {

/// Prints to standard output. Without --config it goes by the default configuration file, or by
/// defaults when there is none; standard error says which. Returns the exit code: 0, or 78 for a
/// wrong configuration.
int ExplainKind(const Options& options);

}  // namespace dwell::command
