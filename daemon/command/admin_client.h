// The operator's end of the admin socket.
#pragma once

#include <functional>
#include <string>
#include <string_view>

#include "schemas/base/result.h"

namespace dwell::command {

/// Gets every row of an answer, as JSON text without its line end.
using Rows = std::function<void(std::string_view row)>;

/// Asks the daemon behind the socket `path` one thing (one line of JSON) and waits for the whole
/// answer. Errors: kNetwork when nobody answers, kData when the daemon says that it cannot; each
/// says what to do.
Result<void> AskDaemon(const std::string& path, const std::string& request, const Rows& rows);

}  // namespace dwell::command
