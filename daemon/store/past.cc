// What is settled and old goes, and the file shrinks again.
#include <algorithm>

#include "daemon/store/store_db.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

/// What stays of an event.
struct PastEvent {
  std::int64_t seq = 0;
  std::string source, id, kind, content;
  Instant received_at{};
};

Result<std::vector<PastEvent>> PastEventsOf(Connection& connection, std::int64_t line_seq) {
  Query query(connection, Sql::kEventsOfLine);
  query.Bind(line_seq);
  return Collect(query, [](Query& row) {
    PastEvent event;
    event.seq = row.Number();
    event.source = row.Text();
    event.id = row.Text();
    event.kind = row.Text();
    event.content = row.Text();
    event.received_at = row.When();
    return event;
  });
}

}  // namespace

Result<std::size_t> Store::RemoveBodies(Instant until, std::size_t max) {
  std::vector<std::int64_t> seqs;
  {
    Query past(db_->connection, Sql::kPastBundles);
    past.Bind(until).Bind(static_cast<std::int64_t>(max));
    auto found = Collect(past, [](Query& row) { return row.Number(); });
    if (found.has_error()) return found.error();
    seqs = std::move(found.value());
  }
  for (const std::int64_t seq : seqs) {
    for (const Sql sql : {Sql::kRemoveBody, Sql::kMarkRemoved}) {
      const Result<void> done = Query(db_->connection, sql).Bind(seq).Run();
      if (done.has_error()) return done.error();
    }
  }
  return seqs.size();
}

Result<std::vector<QuietLine>> Store::QuietLines(const QuietLine& after, Instant until,
                                                 std::size_t max) {
  Query query(db_->connection, Sql::kQuietLines);
  query.Bind(after.last_event_at).Bind(after.seq).Bind(until);
  query.Bind(static_cast<std::int64_t>(max));
  return Collect(query, [](Query& row) {
    QuietLine line;
    line.seq = row.Number();
    line.last_event_at = row.When();
    return line;
  });
}

Result<Ties> Store::TiesOf(std::int64_t line_seq) {
  Ties ties;
  {
    Query query(db_->connection, Sql::kBundlesOfLine);
    query.Bind(line_seq);
    Result<bool> more = query.Next();
    for (; more.has_value() && more.value(); more = query.Next()) {
      ties.open_delivery = query.Flag() || ties.open_delivery;
      ties.perhaps_arrived = query.Flag() || ties.perhaps_arrived;
      ties.last_settled_at = std::max(ties.last_settled_at, query.WhenOrNone());
    }
    if (more.has_error()) return more.error();
  }
  Query awaited(db_->connection, Sql::kLineAwaits);
  const Result<bool> awaits = awaited.Bind(line_seq).Next();
  if (awaits.has_error()) return awaits.error();
  ties.awaits = awaits.value();
  return ties;
}

Result<std::size_t> Store::StopKeeping(std::int64_t line_seq, Instant at) {
  const auto line = LoadLine(line_seq);
  if (line.has_error()) return line.error();
  CHECK(line.value().has_value());
  const auto events = PastEventsOf(db_->connection, line_seq);
  if (events.has_error()) return events.error();
  // Removed and added anew: a row that is made shorter where it stands leaves its page as it is,
  // only a removal makes SQLite join pages that became empty.
  for (const Sql sql : {Sql::kRemoveEvents, Sql::kRemoveLine}) {
    const Result<void> done = Query(db_->connection, sql).Bind(line_seq).Run();
    if (done.has_error()) return done.error();
  }
  const LineRecord& past = *line.value();
  Query add(db_->connection, Sql::kAddPastLine);
  add.Bind(line_seq).Bind(past.key.source).Bind(past.key.line_id);
  add.Bind(static_cast<std::int64_t>(past.bundles)).Bind(past.last_event_at).Bind(at);
  const Result<void> added = add.Run();
  if (added.has_error()) return added.error();
  for (const PastEvent& event : events.value()) {
    Query again(db_->connection, Sql::kAddPastEvent);
    again.Bind(event.seq).Bind(line_seq).Bind(event.source).Bind(event.id).Bind(event.kind);
    const Result<void> done = again.BindBlob(event.content).Bind(event.received_at).Run();
    if (done.has_error()) return done.error();
  }
  return events->size();
}

Result<std::size_t> Store::GiveBackPages(std::uint64_t keep_free, std::size_t max) {
  const Result<Pages> before = CountPages();
  if (before.has_error()) return before.error();
  if (before->free <= keep_free) return std::size_t{0};
  const std::uint64_t count = std::min<std::uint64_t>(max, before->free - keep_free);
  const std::string sql = "PRAGMA incremental_vacuum(" + std::to_string(count) + ")";
  const Result<void> done = Execute(db_->connection.db.get(), sql.c_str(), "shrinking the file");
  if (done.has_error()) return done.error();
  const Result<Pages> after = CountPages();
  if (after.has_error()) return after.error();
  return static_cast<std::size_t>(before->all - after->all);
}

Result<Pages> Store::CountPages() {
  sqlite3* const db = db_->connection.db.get();
  const Result<std::int64_t> all = ReadNumber(db, "PRAGMA page_count");
  if (all.has_error()) return all.error();
  const Result<std::int64_t> free = ReadNumber(db, "PRAGMA freelist_count");
  if (free.has_error()) return free.error();
  return Pages{static_cast<std::uint64_t>(all.value()), static_cast<std::uint64_t>(free.value())};
}

}  // namespace dwell::store
