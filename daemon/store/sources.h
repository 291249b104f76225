// When each ward system was last heard of, and how often it usually speaks: kept in memory; read
// from the events and from the gaps that are kept at the start.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "daemon/store/connection.h"
#include "daemon/store/silence.h"
#include "daemon/store/store.h"

namespace dwell::store {

class Sources {
 public:
  /// What of an event is to be kept in the file: the row of a source.
  struct Gap {
    std::string_view source;  ///< valid as long as the Sources
    DayGap row;
  };
  /// An event of the open transaction.
  std::optional<Gap> Heard(std::string_view source, Instant at);
  void Commit();
  void Rollback() { changed_.clear(); }

  /// An event that is in the file, and the gaps that are there.
  void Found(std::string_view source, Instant at);
  void Remember(std::string_view source, std::vector<DayGap> days);

  /// Whether there is a row for it already.
  bool Knows(std::string_view source) const { return rows_.contains(source); }
  std::vector<std::string> Names() const;
  std::vector<SourceRecord> List() const;

 private:
  struct Row {
    std::optional<Instant> latest;
    Rhythm rhythm;
  };
  using Rows = std::map<std::string, Row, std::less<>>;
  Rows::iterator RowOf(std::string_view source);

  Rows rows_;                                  ///< without the open transaction's changes
  std::vector<std::pair<Row*, Row>> changed_;  ///< and those that it changes, with them
};

/// Fills it from the stored events, as far as limits::kSourcesMax goes: the newest
/// limits::kSourceEventsMax, then one by one the sources that have not sent since; and their gaps.
Result<void> ReadSources(Connection& connection, Sources& sources);
/// Keeps a row of Heard() in the file, and forgets the days before the last kRhythmDays. A few
/// dozen times a day and source.
Result<void> KeepGap(Connection& connection, const Sources::Gap& gap);

}  // namespace dwell::store
