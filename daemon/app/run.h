// dwelld from its command line to its exit code.
#pragma once

#include <string>
#include <vector>

#include "daemon/base/clock.h"

namespace dwell::app {

/// Runs until SIGTERM or SIGINT, then drains; a second one cuts the drain short. SIGHUP has it read
/// its files again (reloading.h). Returns the
/// exit code: 0 drained, config::ExitCode() of what went wrong, or config::kDrainCutShort.
/// `arguments` without the program's name.
int RunDaemon(const std::vector<std::string>& arguments, const base::Clock& clock);

}  // namespace dwell::app
