#include "daemon/operate/silence.h"

namespace dwell::operate {

using std::chrono::minutes;

std::vector<Silences::Change> Silences::Look(const std::vector<store::SourceRecord>& sources,
                                             Instant now) {
  std::vector<Change> changes;
  for (const store::SourceRecord& source : sources) {
    const auto known = silent_.find(source.name);
    const bool is_silent = store::IsSilent(source, fixed_, now);
    if (is_silent == (known != silent_.end())) continue;
    if (is_silent) {
      const auto quiet = std::chrono::floor<minutes>(now - source.last_event_at);
      const auto expected = store::MayBeQuietFor(source, fixed_).value_or(minutes(0));
      changes.push_back({true, source.last_event_at, quiet, expected});
      silent_.emplace(source.name, changes.back());
      continue;
    }
    Change over = known->second;
    over.is_silent = false;
    over.quiet = std::chrono::floor<minutes>(source.last_event_at - over.last_event_at);
    changes.push_back(over);
    silent_.erase(known);
  }
  return changes;
}

}  // namespace dwell::operate
