// Lines beyond their saving and loading: when they are looked at, and that they are damaged.
#include <algorithm>
#include <limits>

#include "daemon/store/store_db.h"

namespace dwell::store {

Result<void> Store::AnotherEvent(std::int64_t line_seq, Instant received_at) {
  return Query(db_->connection, Sql::kAnotherEvent).Bind(received_at).Bind(line_seq).Run();
}

Result<void> Store::PutOff(std::int64_t line_seq, Instant until) {
  return Query(db_->connection, Sql::kPutOff).Bind(until).Bind(line_seq).Run();
}

Result<void> Store::MarkDamaged(std::int64_t line_seq, Instant since, Instant again) {
  return Query(db_->connection, Sql::kMarkDamaged).Bind(since).Bind(again).Bind(line_seq).Run();
}

Result<void> Store::MarkWhole(std::int64_t line_seq) {
  return Query(db_->connection, Sql::kMarkWhole).Bind(line_seq).Run();
}

Result<std::vector<std::int64_t>> Store::DamagedLines(std::size_t max) {
  Query query(db_->connection, Sql::kDamagedLines);
  query.Bind(static_cast<std::int64_t>(max));
  return Collect(query, [](Query& row) { return row.Number(); });
}

Result<void> Store::WakeLines(Instant now) {
  Result<void> done = Query(db_->connection, Sql::kWakeAll).Bind(now).Run();
  std::int64_t before = std::numeric_limits<std::int64_t>::max();
  while (done.has_value()) {
    std::int64_t line_seq = 0;
    {
      Query made(db_->connection, Sql::kMadeBefore);
      const Result<bool> row = made.Bind(before).Next();
      if (row.has_error()) return row.error();
      if (!row.value()) break;
      before = made.Number();
      line_seq = made.Number();
      if (made.When() <= now) break;
    }
    done = Query(db_->connection, Sql::kWake).Bind(now).Bind(line_seq).Run();
  }
  return done;
}

Result<Instant> Store::NewestInstant() {
  Instant newest = Instant::min();
  {
    Query event(db_->connection, Sql::kNewestEvent);
    const Result<bool> row = event.Next();
    if (row.has_error()) return row.error();
    if (row.value()) newest = event.When();
  }
  Query made(db_->connection, Sql::kMadeBefore);
  const Result<bool> row = made.Bind(std::numeric_limits<std::int64_t>::max()).Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return newest;
  made.Number();  // its seq and its line's are not asked for
  made.Number();
  return std::max(newest, made.When());
}

Result<std::vector<std::int64_t>> Store::LinesToChange(Instant now, std::size_t max) {
  Query query(db_->connection, Sql::kLinesToChange);
  query.Bind(now).Bind(static_cast<std::int64_t>(max));
  return Collect(query, [](Query& row) { return row.Number(); });
}

Result<std::optional<Instant>> Store::NextChange() {
  return FirstInstant(db_->connection, Sql::kNextChange);
}

}  // namespace dwell::store
