// What the wards see: the listing of lines and the handover list, asked for over the admin socket.
#pragma once

#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"

namespace dwell::command {

/// Each prints to standard output and returns the exit code. Errors: those of AskDaemon(); kUsage
/// when an option cannot be read.
Result<int> ListLines(const std::string& socket, const Options& options);
Result<int> PrintHandover(const std::string& socket, const Options& options);

}  // namespace dwell::command
