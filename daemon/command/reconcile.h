// dwell reconcile: what the endpoint holds, against what it accepted.
#pragma once

#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// Asks the daemon and prints what is missing or differs, progress on standard error. Returns 0
/// when nothing is, otherwise 1. Errors: those of AskDaemon().
Result<int> Reconcile(const std::string& socket, const Options& options);

/// One answer row of the daemon (admin/reconcile_rows.h) other than progress, as lines for a
/// person. Pure.
std::string ReconciledInWords(schemas::Value row);

/// A progress row as one line without its end. `seconds`: since the start. Pure.
std::string ProgressInWords(schemas::Value row, double seconds);

}  // namespace dwell::command
