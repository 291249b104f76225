// Sources that have been silent for too long, as the daemon's status tells them, in words for a
// person: what a ward did since is not on our lists. Pure.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::command {

struct SilentSource {
  std::string name;           ///< for the eye
  std::string last_event_at;  ///< as the status has it
};
std::vector<SilentSource> SilentSourcesOf(schemas::Value status);

/// One line, without its end, for the top of a list that cannot be complete; empty: nobody is
/// silent. `time` writes an instant for the eye.
std::string SilenceWarning(const std::vector<SilentSource>& silent,
                           const std::function<std::string(Instant)>& time);

/// For `dwell status`: a table of them; how many there are of whom nobody can say yet. Empty:
/// neither.
std::string SilenceInWords(schemas::Value status);

}  // namespace dwell::command
