// dwell release and dwell cancel: what a person decides about deliveries on hold.
#pragma once

#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// Tells the daemon and prints what became of each delivery. Returns 0, or 1 when nothing was done
/// about some of them. Errors: those of AskDaemon().
Result<int> Decide(const std::string& socket, const Options& options);

/// One answer row of the daemon (admin/orders.h) as lines for a person. Pure.
std::string DecidedInWords(schemas::Value row);

}  // namespace dwell::command
