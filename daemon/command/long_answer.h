// What dwell remap, reconcile and reload have in common: orders about lines, whose answers take
// long.
#pragma once

#include <functional>
#include <string>

#include "daemon/command/options.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"
#include "schemas/json/writer.h"

namespace dwell::command {

/// The members that say which lines are meant and, to send, who decides and why.
void WriteLinesAndDecision(schemas::JsonWriter& request, const Options& options);

/// How the rows of an answer are shown; pure functions.
struct LongAnswer {
  std::size_t row_bytes_max = 0;
  /// A row that is no progress, as lines for a person.
  std::function<std::string(schemas::Value row)> in_words;
  /// A progress row (it has "looked_at") as one line without its end; `seconds` since the start.
  std::function<std::string(schemas::Value row, double seconds)> progress;
  /// Whether a row makes the exit code 1.
  std::function<bool(schemas::Value row)> is_trouble;
};

/// Asks the daemon and prints its answer, progress on standard error where that is a terminal or
/// when it is asked for. Returns 1 when a row was trouble, otherwise 0. Errors: those of
/// AskDaemon(), and kData for a row that cannot be read.
Result<int> AskLong(const std::string& socket, const std::string& request, const Options& options,
                    const LongAnswer& answer);

}  // namespace dwell::command
