// When each ward system was last heard of: kept in memory, read from the events at the start.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/store/connection.h"
#include "daemon/store/store.h"

namespace dwell::store {

class Sources {
 public:
  /// An event of the open transaction.
  void Heard(std::string_view source, Instant at);
  void Commit();
  void Rollback() { heard_.clear(); }

  /// Whether there is a row for it already.
  bool Knows(std::string_view source) const { return latest_.contains(source); }
  std::vector<SourceRecord> List() const;

 private:
  std::map<std::string, Instant, std::less<>> latest_;  ///< the smallest instant: never
  std::vector<std::pair<Instant*, Instant>> heard_;     ///< rows of `latest_`, and when
};

/// Fills it from the stored events, as far as limits::kSourcesMax goes: the newest
/// limits::kSourceEventsMax, then one by one the sources that have not sent since.
Result<void> ReadSources(Connection& connection, Sources& sources);

}  // namespace dwell::store
