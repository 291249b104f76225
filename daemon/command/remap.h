// dwell remap: what would be written otherwise than it was issued, and sending it.
#pragma once

#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// Asks the daemon and prints what differs, progress on standard error. Returns 0, or 1 when
/// something of it could not be made or sent. Errors: those of AskDaemon().
Result<int> Remap(const std::string& socket, const Options& options);

/// One answer row of the daemon (admin/remap_rows.h) about a line, or its sums, as lines for a
/// person. Pure.
std::string RemappedInWords(schemas::Value row);

}  // namespace dwell::command
