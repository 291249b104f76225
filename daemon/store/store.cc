#include "daemon/store/store.h"

#include <utility>

#include "daemon/store/store_db.h"
#include "schemas/base/check.h"

namespace dwell::store {

std::string_view DeliveryStateName(DeliveryState state) {
  switch (state) {
    case DeliveryState::kReady:
      return "ready";
    case DeliveryState::kInProgress:
      return "in-progress";
    case DeliveryState::kCompleted:
      return "completed";
    case DeliveryState::kOnHold:
      return "on-hold";
    case DeliveryState::kCancelled:
      return "cancelled";
  }
  CHECK(false && "a delivery state without a name");
  return {};
}

Store::Store(std::unique_ptr<Db> db) : db_(std::move(db)) {}
Store::~Store() = default;

std::uint64_t& Store::Db::CounterOf(Counts& counts, DeliveryState state) {
  switch (state) {
    case DeliveryState::kReady:
      return counts.ready;
    case DeliveryState::kInProgress:
      return counts.in_progress;
    case DeliveryState::kCompleted:
      return counts.completed;
    case DeliveryState::kOnHold:
      return counts.on_hold;
    case DeliveryState::kCancelled:
      return counts.cancelled;
  }
  CHECK(false && "a delivery state without a counter");
  return counts.ready;
}

void Store::Db::Count(const DeliveryState* from, DeliveryState to) {
  if (from != nullptr) --CounterOf(counts, *from);
  ++CounterOf(counts, to);
  counts_changed = true;
}

Result<void> Store::Begin() { return Query(db_->connection, Sql::kBegin).Run(); }

Result<void> Store::Commit() {
  if (db_->counts_changed) {
    const Counts& now = db_->counts;
    Query write(db_->connection, Sql::kWriteCounts);
    for (const std::uint64_t count : {now.events, now.lines, now.ready, now.in_progress,
                                      now.completed, now.on_hold, now.cancelled}) {
      write.Bind(static_cast<std::int64_t>(count));
    }
    Result<void> written = write.Run();
    if (written.has_error()) return written;
  }
  Result<void> committed = Query(db_->connection, Sql::kCommit).Run();
  if (committed.has_error()) return committed;
  db_->committed = db_->counts;
  db_->counts_changed = false;
  return {};
}

void Store::Rollback() {
  db_->counts = db_->committed;
  db_->counts_changed = false;
  // SQLite has already rolled back by itself after some errors (full disk, failed write).
  if (sqlite3_get_autocommit(db_->connection.db.get()) != 0) return;
  // Whatever it answers: what was not committed is not in the file, and the caller stops using it.
  static_cast<void>(Query(db_->connection, Sql::kRollback).Run().has_error());
}

Result<void> Store::Checkpoint() { return db_->connection.MoveLog(SQLITE_CHECKPOINT_PASSIVE); }

Result<void> Store::Finish() { return db_->connection.MoveLog(SQLITE_CHECKPOINT_TRUNCATE); }

std::size_t Store::log_pages() const { return static_cast<std::size_t>(db_->connection.wal_pages); }

bool Store::HasRoom() const {
  const std::optional<std::uint64_t> free = db_->files->FreeBytes(db_->path);
  return free && *free >= db_->free_bytes_min;
}

const Counts& Store::counts() const { return db_->counts; }

}  // namespace dwell::store
