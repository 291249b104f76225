// `dwell submit`: events from a file to the daemon, over the admin socket.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/command/options.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// Some lines of a file that go in one request.
struct Portion {
  std::size_t first_line = 1;  ///< number of the first one in the file
  std::string body;
  bool one_event = false;  ///< the body is one event, perhaps over several lines
};

/// Cuts a text of events into portions of at most `lines_max` lines and `bytes_max` bytes (a longer
/// line is a portion of its own). A text that is one JSON object over several lines is one event:
/// one portion, its bytes as they are.
std::vector<Portion> Cut(std::string_view text, std::size_t lines_max, std::size_t bytes_max);

/// The daemon's answer to the event in this line of the file: whether it was stored, and what is
/// wrong or looks wrong, each on a line of its own. No line end at the end.
std::string AnswerInWords(schemas::Value answer, std::size_t line);

/// Prints an answer for each event. 0 when all were stored or had been before, otherwise 1. Errors:
/// kConfig (the file cannot be read) and those of AskDaemon(): then the rest was not submitted;
/// submitting all again is harmless.
Result<int> Submit(const std::string& socket, const Options& options);

}  // namespace dwell::command
