#include "daemon/ledger/damage.h"

#include "daemon/ledger/content_hash.h"

namespace dwell::ledger {

std::string DamageOf(const store::LineRecord& line) {
  if (line.damaged) return "what the store says of this line is damaged";
  if (line.no_longer_kept_since) return {};
  if (line.events && *line.events != line.raw_events.size()) {
    return "not all stored events of this line are found";
  }
  for (std::size_t i = 0; i < line.raw_events.size(); ++i) {
    if (ContentHash(line.raw_events[i]) != line.contents[i]) {
      return "a stored event of this line is damaged";
    }
  }
  return {};
}

}  // namespace dwell::ledger
