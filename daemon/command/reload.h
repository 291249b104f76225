// dwell reload: the daemon reads its files again.
#pragma once

#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// Has the daemon behind `socket` read its files again, and prints what is in force and what came
/// of the lines that follow. Returns the exit code: 0; 1 when some line could not be done. When a
/// file is wrong, nothing is changed. Errors: those of AskDaemon().
Result<int> Reload(const std::string& socket, const Options& options);

/// The daemon's first row (app/reloading.h) as lines for a person. Pure.
std::string InForceInWords(schemas::Value row);

}  // namespace dwell::command
