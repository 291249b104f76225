#include "daemon/store/sources.h"

#include <algorithm>

#include "daemon/store/store_db.h"

namespace dwell::store {

Sources::Rows::iterator Sources::RowOf(std::string_view source) {
  const auto row = rows_.find(source);
  if (row != rows_.end()) return row;
  const bool full = rows_.size() >= limits::kSourcesMax;
  return rows_.try_emplace(full ? std::string() : std::string(source)).first;
}

std::optional<Sources::Gap> Sources::Heard(std::string_view source, Instant at) {
  const auto row = RowOf(source);
  auto changed = std::ranges::find(changed_, &row->second, &std::pair<Row*, Row>::first);
  if (changed == changed_.end()) {
    changed = changed_.insert(changed, {&row->second, row->second});
  }
  Row& now = changed->second;
  const auto gap = now.rhythm.Hear(now.latest, at);
  now.latest = now.latest ? std::max(*now.latest, at) : at;
  if (!gap) return std::nullopt;
  return Gap{row->first, *gap};
}

void Sources::Commit() {
  for (auto& [row, now] : changed_) *row = std::move(now);
  changed_.clear();
}

void Sources::Found(std::string_view source, Instant at) {
  auto& latest = RowOf(source)->second.latest;
  latest = latest ? std::max(*latest, at) : at;
}

void Sources::Remember(std::string_view source, std::vector<DayGap> days) {
  RowOf(source)->second.rhythm = Rhythm(std::move(days));
}

std::vector<std::string> Sources::Names() const {
  std::vector<std::string> names;
  for (const auto& [name, row] : rows_) names.push_back(name);
  return names;
}

std::vector<SourceRecord> Sources::List() const {
  std::vector<SourceRecord> all;
  for (const auto& [name, row] : rows_) {
    if (row.latest) all.push_back({name, *row.latest, row.rhythm.usual_gap()});
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
    sources.Found(source, newest.When());
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
    if (row.value()) sources.Found(source, latest.When());
  }
  for (const std::string& name : sources.Names()) {
    Query query(connection, Sql::kListGaps);
    query.Bind(name);
    auto gaps = Collect(query, [](Query& gap) {
      const std::int64_t day = gap.Number();
      return DayGap{day, std::chrono::minutes(gap.Number())};
    });
    if (gaps.has_error()) return gaps.error();
    sources.Remember(name, std::move(*gaps));
  }
  return {};
}

Result<void> KeepGap(Connection& connection, const Sources::Gap& gap) {
  const std::int64_t day = gap.row.day;
  auto kept = Query(connection, Sql::kKeepGap)
                  .Bind(gap.source)
                  .Bind(day)
                  .Bind(std::int64_t{gap.row.gap.count()})
                  .Run();
  if (!kept) return kept;
  return Query(connection, Sql::kForgetGaps).Bind(gap.source).Bind(day - kRhythmDays).Run();
}

std::vector<SourceRecord> Store::sources() const { return db_->sources.List(); }

}  // namespace dwell::store
