// What the wards see: the listing of lines and the handover list, asked for over the admin socket.
#pragma once

#include <string>
#include <vector>

#include "daemon/command/options.h"
#include "daemon/command/ward_line.h"
#include "schemas/base/result.h"

namespace dwell::command {

/// What stands in the listing of a line, urgency first. Also of a row that is no JSON: that there
/// is a line of which nothing is known must be seen. Pure.
std::vector<std::string> LineCells(const WardLine& line, Instant now);

/// Each prints to standard output and returns the exit code. Errors: those of AskDaemon(); kUsage
/// when an option cannot be read.
Result<int> ListLines(const std::string& socket, const Options& options);
Result<int> PrintHandover(const std::string& socket, const Options& options);

}  // namespace dwell::command
