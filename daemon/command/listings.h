// The listings: asked for over the admin socket, printed as tables or as JSON lines.
#pragma once

#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"

namespace dwell::command {

/// Each prints to standard output and returns the exit code. Errors: those of AskDaemon().
Result<int> ListQueue(const std::string& socket, const Options& options);
Result<int> ListLines(const std::string& socket, const Options& options);
Result<int> ShowEvent(const std::string& socket, const Options& options);
Result<int> ShowStatus(const std::string& socket, const Options& options);

}  // namespace dwell::command
