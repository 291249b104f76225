// What is settled and old goes, and the file shrinks again.
#include <algorithm>

#include "daemon/store/store_db.h"

namespace dwell::store {

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
