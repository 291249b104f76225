#include "daemon/store/sources.h"

#include <algorithm>

#include "daemon/store/store_db.h"

namespace dwell::store {

void Sources::Heard(std::string_view source, Instant at) {
  auto row = latest_.find(source);
  if (row == latest_.end()) {
    const bool full = latest_.size() >= limits::kSourcesMax;
    row = latest_.try_emplace(full ? std::string() : std::string(source), Instant::min()).first;
  }
  heard_.emplace_back(&row->second, at);
}

void Sources::Commit() {
  for (const auto& [latest, at] : heard_) *latest = std::max(*latest, at);
  heard_.clear();
}

std::vector<SourceRecord> Sources::List() const {
  std::vector<SourceRecord> all;
  for (const auto& [name, latest] : latest_) {
    if (latest != Instant::min()) all.push_back({name, latest});
  }
  return all;
}

Result<void> ReadSources(Connection& connection, Sources& sources) {
  Query newest(connection, Sql::kLatestEvents);
  newest.Bind(static_cast<std::int64_t>(limits::kSourceEventsMax));
  while (true) {
    const Result<bool> row = newest.Next();
    if (row.has_error()) return row.error();
    if (!row.value()) break;
    const std::string source = newest.Text();
    sources.Heard(source, newest.When());
  }
  std::string source;
  for (std::size_t looked_at = 0; looked_at < limits::kSourcesMax; ++looked_at) {
    {
      Query next(connection, Sql::kNextSource);
      const Result<bool> row = next.Bind(source).Next();
      if (row.has_error()) return row.error();
      if (!row.value()) break;
      source = next.Text();
    }
    if (sources.Knows(source)) continue;
    Query latest(connection, Sql::kLatestOfSource);
    const Result<bool> row = latest.Bind(source).Next();
    if (row.has_error()) return row.error();
    if (row.value()) sources.Heard(source, latest.When());
  }
  sources.Commit();
  return {};
}

std::vector<SourceRecord> Store::sources() const { return db_->sources.List(); }

}  // namespace dwell::store
