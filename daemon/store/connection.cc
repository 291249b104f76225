#include "daemon/store/connection.h"

#include <cerrno>

#include "schemas/base/check.h"

namespace dwell::store {
namespace {

struct ErrorRow {
  int code;  // SQLite's primary result code
  ErrorKind kind;
  const char* words;
};

// Codes that are missing here (misuse, range, constraint, no memory, ...) are bugs of ours or the
// end of memory: the process aborts, and the file stays as the last commit left it.
constexpr ErrorRow kErrors[] = {
    {SQLITE_FULL, ErrorKind::kFull, "no space left on the store's file system"},
    {SQLITE_IOERR, ErrorKind::kIo, "the store's file could not be read, written or synced"},
    {SQLITE_CANTOPEN, ErrorKind::kIo, "the store's file could not be opened"},
    {SQLITE_READONLY, ErrorKind::kIo, "the store's file may not be written"},
    {SQLITE_PERM, ErrorKind::kIo, "access to the store's file was refused"},
    {SQLITE_AUTH, ErrorKind::kIo, "access to the store's file was refused"},
    {SQLITE_NOLFS, ErrorKind::kIo, "the store's file system cannot hold a file of this size"},
    {SQLITE_PROTOCOL, ErrorKind::kIo, "the store's file could not be locked"},
    {SQLITE_BUSY, ErrorKind::kBusy, "another process holds the store"},
    {SQLITE_LOCKED, ErrorKind::kBusy, "another process holds the store"},
    {SQLITE_CORRUPT, ErrorKind::kCorrupt, "the store's file is damaged"},
    {SQLITE_NOTADB, ErrorKind::kCorrupt, "the store's file is damaged"},
};

int PrimaryCode(sqlite3* db, int code) {
  // SQLite knows only ENOSPC as a full disk; a quota that is used up is one too.
  const int primary = code & 0xff;
  if (primary == SQLITE_IOERR && db != nullptr && sqlite3_system_errno(db) == EDQUOT) {
    return SQLITE_FULL;
  }
  if ((primary == SQLITE_CORRUPT || primary == SQLITE_NOTADB) && ReadFailed(db)) {
    return SQLITE_IOERR;
  }
  return primary;
}

}  // namespace

bool ReadFailed(sqlite3* db) {
  int error = 0;
  if (db != nullptr) sqlite3_file_control(db, "main", SQLITE_FCNTL_LAST_ERRNO, &error);
  return error != 0;
}

Error StoreError(sqlite3* db, int code, std::string_view doing) {
  const int extended = db != nullptr ? sqlite3_extended_errcode(db) : code;
  const int primary = PrimaryCode(db, code);
  for (const ErrorRow& row : kErrors) {
    if (row.code != primary) continue;
    std::string message = row.words;
    message += " (while ";
    message += doing;
    message += ", code ";
    message += std::to_string(extended);
    message += ")";
    return {row.kind, std::move(message)};
  }
  CHECK(false && "SQLite reported a mistake of ours or no memory");
  return {};
}

Result<void> Execute(sqlite3* db, const char* sql, std::string_view doing) {
  const int code = sqlite3_exec(db, sql, nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) return StoreError(db, code, doing);
  return {};
}

Result<std::int64_t> ReadNumber(sqlite3* db, const char* sql) {
  sqlite3_stmt* raw = nullptr;
  int code = sqlite3_prepare_v2(db, sql, -1, &raw, nullptr);
  const StatementHandle statement(raw);
  if (code == SQLITE_OK) code = sqlite3_step(raw);
  if (code != SQLITE_ROW) return StoreError(db, code, "reading a setting");
  return std::int64_t{sqlite3_column_int64(raw, 0)};
}

Result<void> Migrate(sqlite3* db, std::int64_t version, std::span<const char* const> steps) {
  for (auto next = static_cast<std::size_t>(version); next < steps.size(); ++next) {
    const std::string sql = std::string("BEGIN IMMEDIATE;") + steps[next] +
                            "; PRAGMA user_version = " + std::to_string(next + 1) + "; COMMIT;";
    const int code = sqlite3_exec(db, sql.c_str(), nullptr, nullptr, nullptr);
    if (code == SQLITE_OK) continue;
    if (sqlite3_get_autocommit(db) == 0) sqlite3_exec(db, "ROLLBACK", nullptr, nullptr, nullptr);
    if (code == SQLITE_ERROR || (code & 0xff) == SQLITE_CONSTRAINT) {
      return Error(ErrorKind::kCorrupt, "the store's contents do not fit the step to version " +
                                            std::to_string(next + 1) + "; nothing was changed");
    }
    return StoreError(db, code, "bringing the store to a newer version");
  }
  return {};
}

Result<void> Connection::Prepare() {
  for (std::size_t i = 0; i < statements.size(); ++i) {
    sqlite3_stmt* statement = nullptr;
    const int code = sqlite3_prepare_v3(db.get(), SqlText(static_cast<Sql>(i)), -1,
                                        SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
    if (code == SQLITE_ERROR) {
      return Error(ErrorKind::kCorrupt, "the store's file lacks tables that its version has");
    }
    if (code != SQLITE_OK) return StoreError(db.get(), code, "preparing");
    statements.at(i).reset(statement);
  }
  return {};
}

Result<void> Connection::MoveLog(int mode) {
  const int code = sqlite3_wal_checkpoint_v2(db.get(), nullptr, mode, nullptr, nullptr);
  if (code != SQLITE_OK) return StoreError(db.get(), code, "moving the log into the file");
  wal_pages = 0;
  return {};
}

Query& Query::Bind(std::int64_t number) {
  bind_result_ |= sqlite3_bind_int64(statement_, ++parameter_, number);
  return *this;
}

Query& Query::Bind(std::string_view text) {
  // A null pointer would bind NULL instead of the empty text.
  bind_result_ |= sqlite3_bind_text64(statement_, ++parameter_, text.empty() ? "" : text.data(),
                                      text.size(), SQLITE_STATIC, SQLITE_UTF8);
  return *this;
}

Query& Query::Bind(const std::optional<Instant>& instant) {
  if (instant) return Bind(*instant);
  bind_result_ |= sqlite3_bind_null(statement_, ++parameter_);
  return *this;
}

Query& Query::Bind(const std::optional<std::uint64_t>& number) {
  if (number) return Bind(static_cast<std::int64_t>(*number));
  bind_result_ |= sqlite3_bind_null(statement_, ++parameter_);
  return *this;
}

Query& Query::BindBlob(std::string_view bytes) {
  bind_result_ |= sqlite3_bind_blob64(statement_, ++parameter_, bytes.empty() ? "" : bytes.data(),
                                      bytes.size(), SQLITE_STATIC);
  return *this;
}

Result<bool> Query::Next() {
  CHECK(bind_result_ == SQLITE_OK);
  column_ = 0;
  const int code = sqlite3_step(statement_);
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  return StoreError(db_, code, SqlText(sql_));
}

Result<void> Query::Run() {
  const Result<bool> row = Next();
  if (row.has_error()) return row.error();
  CHECK(!row.value());
  return {};
}

std::int64_t Query::Number() { return sqlite3_column_int64(statement_, column_++); }

std::string_view Query::Bytes() {
  const void* bytes = sqlite3_column_blob(statement_, column_);
  const int size = sqlite3_column_bytes(statement_, column_++);
  if (size == 0) return {};
  return {static_cast<const char*>(bytes), static_cast<std::size_t>(size)};
}

std::optional<Instant> Query::WhenOrNone() {
  const auto number = NumberOrNone();
  return number ? std::optional(Instant(std::chrono::milliseconds(*number))) : std::nullopt;
}

std::optional<std::int64_t> Query::NumberOrNone() {
  if (sqlite3_column_type(statement_, column_) == SQLITE_NULL) {
    ++column_;
    return std::nullopt;
  }
  return Number();
}

Result<std::optional<Instant>> FirstInstant(Connection& connection, Sql sql) {
  Query query(connection, sql);
  const Result<bool> row = query.Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<Instant>();
  return query.WhenOrNone();
}

}  // namespace dwell::store
