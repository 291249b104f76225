// The listings: asked for over the admin socket, printed as tables or as JSON lines.
#pragma once

#include <string>
#include <vector>

#include "daemon/command/options.h"
#include "daemon/command/table.h"
#include "schemas/base/result.h"

namespace dwell::command {

/// Asks for a listing and prints it as it comes; `what` is for the sentence that says there is
/// nothing.
Result<int> List(const std::string& socket, const std::string& request, bool json,
                 std::vector<Column> columns, const char* what);

/// Each prints to standard output and returns the exit code. Errors: those of AskDaemon().
Result<int> ListQueue(const std::string& socket, const Options& options);
Result<int> ShowEvent(const std::string& socket, const Options& options);
Result<int> ShowStatus(const std::string& socket, const Options& options);

}  // namespace dwell::command
