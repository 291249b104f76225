#include <utility>

#include "daemon/store/file_check.h"
#include "daemon/store/log_rewrite.h"
#include "daemon/store/migrations.h"
#include "daemon/store/store_db.h"

namespace dwell::store {
namespace {

// Checking every page of a file, and its indexes against its rows, takes some 3 s a GiB where
// SQLite does not have to wait for the disk. A larger file is checked by its header, by reading its
// tables' roots, and page by page as it is used; damage found then stops the process.
constexpr std::int64_t kQuickCheckBytesMax = std::int64_t{128} * 1024 * 1024;

// Exclusive before WAL: the log's index then lives in our memory, and no second process gets in.
// FULL: a commit returns after the log is synced. Checkpoints are made by us only (Writer): the
// hook below takes the place of SQLite's own, which would run inside a commit.
constexpr const char* kSettings =
    "PRAGMA locking_mode = EXCLUSIVE;"
    "PRAGMA journal_mode = WAL;"
#if DWELL_PLANTED_BUG == 2  // tests/sim/planted: a commit returns before its sync
    "PRAGMA synchronous = NORMAL;"
#else
    "PRAGMA synchronous = FULL;"
#endif
    "PRAGMA cache_size = -65536;"             // KiB: the indexes of some million events
    "PRAGMA journal_size_limit = 134217728;"  // bytes the log keeps when it starts again
    "PRAGMA temp_store = MEMORY;"
    "PRAGMA cell_size_check = ON;"
    "PRAGMA trusted_schema = OFF";

int CountLogPages(void* connection, sqlite3*, const char*, int pages) {
  static_cast<Connection*>(connection)->wal_pages = pages;
  return SQLITE_OK;
}

Result<void> Configure(Connection& connection, const Files& files, const std::string& path) {
  sqlite3* raw = nullptr;
  const int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_NOFOLLOW;
  const int code = sqlite3_open_v2(path.c_str(), &raw, flags, files.vfs());
  connection.db.reset(raw);
  if (code != SQLITE_OK) return StoreError(raw, code, "opening");
  // Closing must never write: after a failed sync the file is to stay as it is.
  sqlite3_db_config(raw, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, nullptr);
  sqlite3_db_config(raw, SQLITE_DBCONFIG_DEFENSIVE, 1, nullptr);
  sqlite3_wal_hook(raw, CountLogPages, &connection);
  return Execute(raw, kSettings);
}

// The header alone does not tell: a newer version may still stand in the log. From here on the file
// is locked, and nothing has been written yet.
Result<std::int64_t> CheckContents(sqlite3* db) {
  const Result<std::int64_t> version = ReadNumber(db, "PRAGMA user_version");
  if (version.has_error()) return version.error();
  if (version.value() > StoreVersion()) {
    return Error(ErrorKind::kForeign, "the store is newer than this program; it was left as it is");
  }
  const Result<std::int64_t> pages = ReadNumber(db, "PRAGMA page_count");
  if (pages.has_error()) return pages.error();
  const Result<std::int64_t> page_bytes = ReadNumber(db, "PRAGMA page_size");
  if (page_bytes.has_error()) return page_bytes.error();
  if (pages.value() * page_bytes.value() <= kQuickCheckBytesMax) {
    sqlite3_stmt* raw = nullptr;
    int code = sqlite3_prepare_v2(db, "PRAGMA integrity_check(1)", -1, &raw, nullptr);
    const StatementHandle statement(raw);
    if (code == SQLITE_OK) code = sqlite3_step(raw);
    if (code != SQLITE_ROW) return StoreError(db, code, "checking the file");
    const auto* words = reinterpret_cast<const char*>(sqlite3_column_text(raw, 0));
    if (words == nullptr || std::string_view(words) != "ok") {
      if (ReadFailed(db)) {
        return Error(ErrorKind::kIo,
                     "the store's file could not be read (while checking the file)");
      }
      return Error(ErrorKind::kCorrupt,
                   "the store's file fails its own checks; it was left as it is");
    }
  }
  return version.value();
}

Result<void> ReadCounts(Connection& connection, Counts& counts) {
  Query read(connection, Sql::kReadCounts);
  const Result<bool> row = read.Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return Error(ErrorKind::kCorrupt, "the store's counts are missing");
  for (std::uint64_t* count : {&counts.events, &counts.lines, &counts.ready, &counts.in_progress,
                               &counts.completed, &counts.on_hold, &counts.cancelled}) {
    *count = static_cast<std::uint64_t>(read.Number());
  }
  return {};
}

Result<std::vector<EndpointRecord>> ReadEndpoints(Connection& connection) {
  Query list(connection, Sql::kListEndpoints);
  auto endpoints = Collect(list, [](Query& row) {
    EndpointRecord endpoint;
    endpoint.seq = row.Number();
    endpoint.name = row.Text();
    for (std::uint64_t* count : {&endpoint.ready, &endpoint.in_progress, &endpoint.completed,
                                 &endpoint.on_hold, &endpoint.cancelled}) {
      *count = static_cast<std::uint64_t>(row.Number());
    }
    endpoint.identity = row.Text();
    return endpoint;
  });
  if (endpoints.has_error()) return endpoints;
  bool is_whole = !endpoints->empty();
  for (std::size_t i = 0; i < endpoints->size(); ++i) {
    is_whole = is_whole && (*endpoints)[i].seq == static_cast<std::int64_t>(i);
  }
  if (!is_whole) return Error(ErrorKind::kCorrupt, "the store's list of endpoints has gaps");
  return endpoints;
}

}  // namespace

Result<std::unique_ptr<Store>> Store::Open(const std::string& path, const Options& options) {
  Files& files = options.files != nullptr ? *options.files : SystemFiles();
  const Result<FileState> state = CheckFile(files, path);
  if (state.has_error()) return state.error();
  if (state.value() == FileState::kMissing) {
    const Result<void> created = CreateFile(files, path);
    if (created.has_error()) return created.error();
  }
  auto db = std::make_unique<Db>();
  db->files = &files;
  db->path = path;
  db->free_bytes_min = options.free_bytes_min;
  Result<void> done = Configure(db->connection, files, path);
  if (done.has_error()) return done.error();
  const Result<std::int64_t> version = CheckContents(db->connection.db.get());
  if (version.has_error()) return version.error();
  done = RewriteLog(files, path);
  if (done.has_error()) return done.error();
  if (version.value() < StoreVersion()) {
    done = Migrate(db->connection.db.get(), version.value(), MigrationSteps());
    if (done.has_error()) return done.error();
  }
  done = db->connection.Prepare();
  if (done.has_value()) done = ReadCounts(db->connection, db->counts);
  if (done.has_error()) return done.error();
  db->committed = db->counts;
  auto endpoints = ReadEndpoints(db->connection);
  if (endpoints.has_error()) return endpoints.error();
  db->endpoints = std::move(endpoints.value());
  db->committed_endpoints = db->endpoints;
  done = ReadSources(db->connection, db->sources);
  if (done.has_error()) return done.error();
  const Result<bool> awaits = Query(db->connection, Sql::kAwaitsAny).Next();
  if (awaits.has_error()) return awaits.error();
  db->awaits_any = awaits.value();

  std::unique_ptr<Store> store(new Store(std::move(db)));
  done = store->Recover();
  if (done.has_error()) return done.error();
  return store;
}

// What was in progress when the process ended may or may not have arrived.
Result<void> Store::Recover() {
  if (db_->counts.in_progress == 0) return {};
  Result<void> done = Begin();
  if (done.has_value()) done = Query(db_->connection, Sql::kRestartInProgress).Run();
  if (done.has_value()) {
    db_->counts.ready += std::exchange(db_->counts.in_progress, 0);
    for (EndpointRecord& endpoint : db_->endpoints) {
      endpoint.ready += std::exchange(endpoint.in_progress, 0);
    }
    db_->counts_changed = true;
    done = Commit();
  }
  if (done.has_error()) Rollback();
  return done;
}

}  // namespace dwell::store
