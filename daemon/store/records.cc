#include <algorithm>
#include <bit>
#include <utility>

#include "daemon/store/store_db.h"
#include "daemon/store/sum.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

std::string_view Bytes(const Sha256& content) {
  return {reinterpret_cast<const char*>(content.data()), content.size()};
}

std::int64_t SumOfLine(const LineRecord& line) {
  Sum sum(line.key.source.size());
  for (const std::string* text :
       {&line.key.source, &line.key.line_id, &line.issued, &line.summary}) {
    sum.Add(std::uint64_t{text->size()});
    sum.Add(*text);
  }
  sum.Add(line.bundles);
  return std::bit_cast<std::int64_t>(sum.value());
}

LineRecord ReadLine(Query& query) {
  LineRecord line;
  line.seq = query.Number();
  line.key.source = query.Text();
  line.key.line_id = query.Text();
  line.bundles = static_cast<std::uint64_t>(query.Number());
  line.next_change = query.WhenOrNone();
  line.last_event_at = query.When();
  line.no_longer_kept_since = query.WhenOrNone();
  line.issued = query.Text();
  line.summary = query.Text();
  if (const auto events = query.NumberOrNone()) line.events = static_cast<std::uint64_t>(*events);
  const auto sum = query.NumberOrNone();
  line.damaged = sum && *sum != SumOfLine(line);
  line.damaged_since = query.WhenOrNone();
  return line;
}

/// The next column; empty when it is no hash.
std::optional<Sha256> ReadContent(Query& query) {
  const std::string_view bytes = query.Bytes();
  Sha256 content{};
  if (bytes.size() != content.size()) return std::nullopt;
  std::ranges::copy(bytes, content.begin());
  return content;
}

Result<std::optional<LineRecord>> LoadLineFrom(Connection& connection, Query& query) {
  const Result<bool> row = query.Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<LineRecord>();
  LineRecord line = ReadLine(query);
  Query events(connection, Sql::kRawEvents);
  events.Bind(line.seq);
  Result<bool> more = events.Next();
  for (; more.has_value() && more.value(); more = events.Next()) {
    line.raw_events.push_back(events.Text());
    const auto content = ReadContent(events);
    // No hash at all is another than that of the bytes.
    line.contents.push_back(content.value_or(Sha256{}));
  }
  if (more.has_error()) return more.error();
  return std::optional(std::move(line));
}

}  // namespace

Result<std::optional<EventRecord>> Store::FindEvent(std::string_view source, std::string_view id) {
  Query query(db_->connection, Sql::kFindEvent);
  const Result<bool> row = query.Bind(source).Bind(id).Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<EventRecord>();
  EventRecord event;
  event.source = source;
  event.id = id;
  event.seq = query.Number();
  event.kind = query.Text();
  const auto content = ReadContent(query);
  if (!content) {
    return Error(ErrorKind::kCorrupt, "the store's file is damaged: a hash of the wrong length");
  }
  event.content = *content;
  event.received_at = query.When();
  event.line_id = query.Text();
  event.no_longer_kept_since = query.WhenOrNone();
  event.line_damaged_since = query.WhenOrNone();
  event.raw = query.Text();
  return std::optional(std::move(event));
}

Result<std::vector<EventRecord>> Store::FindEvents(std::string_view id) {
  std::vector<EventRecord> events;
  std::string source;
  while (true) {  // from one source to the next along the index of (source, id)
    {
      Query next(db_->connection, Sql::kNextSource);
      const Result<bool> row = next.Bind(source).Next();
      if (row.has_error()) return row.error();
      if (!row.value()) return events;
      source = next.Text();
    }
    auto event = FindEvent(source, id);
    if (event.has_error()) return event.error();
    if (event.value()) events.push_back(std::move(*event.value()));
  }
}

Result<std::string> Store::IdOfEvent(std::int64_t event_seq) {
  Query query(db_->connection, Sql::kIdOfEvent);
  const Result<bool> row = query.Bind(event_seq).Next();
  if (row.has_error()) return row.error();
  return row.value() ? query.Text() : std::string();
}

Result<std::int64_t> Store::AddEvent(const EventRecord& event, std::int64_t line_seq) {
  Query add(db_->connection, Sql::kAddEvent);
  add.Bind(line_seq).Bind(event.source).Bind(event.id).Bind(event.kind);
  add.BindBlob(Bytes(event.content)).Bind(event.received_at).BindBlob(event.raw);
  const Result<void> added = add.Run();
  if (added.has_error()) return added.error();
  ++db_->counts.events;
  const std::int64_t seq{sqlite3_last_insert_rowid(db_->connection.db.get())};
  db_->counts_changed = true;
  if (const auto gap = db_->sources.Heard(event.source, event.received_at)) {
    const Result<void> kept = KeepGap(db_->connection, *gap);
    if (kept.has_error()) return kept.error();
  }
  return seq;
}

Result<void> Store::MendEvent(std::int64_t event_seq, std::string_view raw) {
  return Query(db_->connection, Sql::kMendEvent).BindBlob(raw).Bind(event_seq).Run();
}

Result<std::optional<EventRecord>> Store::NewestEvent() {
  Query query(db_->connection, Sql::kNewestEvent);
  const Result<bool> row = query.Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<EventRecord>();
  EventRecord event;
  event.received_at = query.When();
  event.raw = query.Text();
  return std::optional(std::move(event));
}

Result<std::optional<LineRecord>> Store::LoadLine(const line::Key& key) {
  Query query(db_->connection, Sql::kLineByKey);
  return LoadLineFrom(db_->connection, query.Bind(key.source).Bind(key.line_id));
}

Result<std::optional<LineRecord>> Store::LoadLine(std::int64_t line_seq) {
  Query query(db_->connection, Sql::kLineBySeq);
  return LoadLineFrom(db_->connection, query.Bind(line_seq));
}

Result<std::optional<line::Key>> Store::KeyOfLine(std::int64_t line_seq) {
  Query query(db_->connection, Sql::kKeyOfLine);
  const Result<bool> row = query.Bind(line_seq).Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<line::Key>();
  line::Key key;
  key.source = query.Text();
  key.line_id = query.Text();
  return std::optional(std::move(key));
}

Result<std::int64_t> Store::SaveLine(const LineRecord& line) {
  const bool is_new = line.seq == 0;
  Query save(db_->connection, is_new ? Sql::kAddLine : Sql::kUpdateLine);
  if (is_new) save.Bind(line.key.source).Bind(line.key.line_id);
  save.Bind(static_cast<std::int64_t>(line.bundles)).Bind(line.next_change);
  save.Bind(line.last_event_at).BindBlob(line.issued).Bind(line.summary);
  save.Bind(line.events).Bind(SumOfLine(line));
  if (!is_new) save.Bind(line.seq);
  const Result<void> saved = save.Run();
  if (saved.has_error()) return saved.error();
  if (!is_new) return line.seq;
  ++db_->counts.lines;
  db_->counts_changed = true;
  return std::int64_t{sqlite3_last_insert_rowid(db_->connection.db.get())};
}

Result<std::vector<LineRecord>> Store::ListLines(std::int64_t after, std::size_t max) {
  Query query(db_->connection, Sql::kListLines);
  query.Bind(after).Bind(static_cast<std::int64_t>(max));
  return Collect(query, ReadLine);
}

}  // namespace dwell::store
