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

std::uint64_t& Store::Db::CounterOf(DeliveryCounts& counts, DeliveryState state) {
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

void Store::Db::Count(std::int64_t endpoint, const DeliveryState* from, DeliveryState to) {
  const auto count = [from, to](DeliveryCounts& in) {
    if (from != nullptr) --CounterOf(in, *from);
    ++CounterOf(in, to);
  };
  count(counts);
  counts_changed = true;
  if (endpoint == 0) return;
  CHECK(endpoint > 0 && static_cast<std::size_t>(endpoint) < endpoints.size());
  count(endpoints[static_cast<std::size_t>(endpoint)]);
}

Result<void> Store::Db::WriteCounts() {
  Query write(connection, Sql::kWriteCounts);
  for (const std::uint64_t count : {counts.events, counts.lines, counts.ready, counts.in_progress,
                                    counts.completed, counts.on_hold, counts.cancelled}) {
    write.Bind(static_cast<std::int64_t>(count));
  }
  Result<void> written = write.Run();
  for (std::size_t i = 1; i < endpoints.size() && written.has_value(); ++i) {
    const EndpointRecord& now = endpoints[i];
    Query row(connection, Sql::kCountEndpoint);
    for (const std::uint64_t count :
         {now.ready, now.in_progress, now.completed, now.on_hold, now.cancelled}) {
      row.Bind(static_cast<std::int64_t>(count));
    }
    written = row.Bind(now.seq).Run();
  }
  return written;
}

Result<void> Store::Begin() { return Query(db_->connection, Sql::kBegin).Run(); }

Result<void> Store::Commit() {
  if (db_->counts_changed) {
    Result<void> written = db_->WriteCounts();
    if (written.has_error()) return written;
  }
  Result<void> committed = Query(db_->connection, Sql::kCommit).Run();
  if (committed.has_error()) return committed;
  db_->committed = db_->counts;
  db_->committed_endpoints = db_->endpoints;
  db_->counts_changed = false;
  db_->sources.Commit();
  return {};
}

void Store::Rollback() {
  db_->counts = db_->committed;
  db_->endpoints = db_->committed_endpoints;
  db_->wards.clear();
  db_->sources.Rollback();
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
  const std::optional<std::uint64_t> free = FreeBytes();
  return free && *free >= db_->free_bytes_min;
}

std::optional<std::uint64_t> Store::FreeBytes() const { return db_->files->FreeBytes(db_->path); }

const Counts& Store::counts() const { return db_->counts; }

}  // namespace dwell::store
