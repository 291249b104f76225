// dwell from its command line to its exit code.
#pragma once

#include <string>
#include <vector>

namespace dwell::command {

/// Runs one command. Returns the exit code: 0, 1 (some events were refused), or config::ExitCode()
/// of what failed. `arguments` without the program's name.
int RunCommand(const std::vector<std::string>& arguments);

}  // namespace dwell::command
