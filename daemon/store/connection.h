// The SQLite connection of the store, its prepared statements and the table of its errors.
// Nothing of SQLite is visible outside daemon/store.
#pragma once

#include <sqlite3.h>

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/store/statements.h"
#include "mapping/event/moment.h"
#include "schemas/base/result.h"

namespace dwell::store {

struct CloseDatabase {
  void operator()(sqlite3* db) const { sqlite3_close(db); }
};
struct FinalizeStatement {
  void operator()(sqlite3_stmt* statement) const { sqlite3_finalize(statement); }
};
using DatabaseHandle = std::unique_ptr<sqlite3, CloseDatabase>;
using StatementHandle = std::unique_ptr<sqlite3_stmt, FinalizeStatement>;

/// Whether the system refused the last read or write of the store's file. SQLite tells some such
/// reads as damage, which they are not: they may go well the next time.
bool ReadFailed(sqlite3* db);

/// What an SQLite result code means to us, by the one table. A code that only a bug of ours can
/// cause aborts. `doing` says what was tried.
Error StoreError(sqlite3* db, int code, std::string_view doing);

/// Runs SQL text whose rows, if any, do not matter (pragmas, scripts). `doing` is for the error.
Result<void> Execute(sqlite3* db, const char* sql, std::string_view doing = "setting up");

/// The single number that `sql` gives.
Result<std::int64_t> ReadNumber(sqlite3* db, const char* sql);

/// Brings the file from `version` to the last step, each in one transaction. Stops at the first
/// that fails; the file then is at the version before it.
Result<void> Migrate(sqlite3* db, std::int64_t version, std::span<const char* const> steps);

/// An open connection with every statement prepared.
struct Connection {
  DatabaseHandle db;
  std::array<StatementHandle, kSqlCount> statements;
  int wal_pages = 0;  ///< in the log and not yet moved into the file; kept by SQLite's hook

  /// Prepares every statement; call when the file has its tables.
  Result<void> Prepare();
  /// A checkpoint; `mode` is one of SQLITE_CHECKPOINT_*. There are no other readers, so that even a
  /// passive one moves everything.
  Result<void> MoveLog(int mode);
};

/// One use of a prepared statement: bind left to right, then step, then read left to right.
/// What is bound must live until the Query ends. Ends with a reset, so that no read stays open.
class Query {
 public:
  Query(Connection& connection, Sql sql)
      : db_(connection.db.get()),
        statement_(connection.statements.at(static_cast<std::size_t>(sql)).get()),
        sql_(sql) {}
  ~Query() { sqlite3_reset(statement_); }
  Query(const Query&) = delete;
  Query& operator=(const Query&) = delete;

  Query& Bind(std::int64_t number);
  Query& Bind(std::string_view text);
  Query& Bind(Instant instant) { return Bind(std::int64_t{instant.time_since_epoch().count()}); }
  Query& Bind(const std::optional<Instant>& instant);
  Query& Bind(const std::optional<std::uint64_t>& number);
  Query& BindBlob(std::string_view bytes);

  /// Steps to the next row; false when there is none.
  Result<bool> Next();
  /// Runs a statement that gives no rows.
  Result<void> Run();

  std::int64_t Number();
  std::string Text() { return std::string(Bytes()); }
  /// Valid until the next step or the end of the Query.
  std::string_view Bytes();
  Instant When() { return Instant(std::chrono::milliseconds(Number())); }
  std::optional<Instant> WhenOrNone();
  std::optional<std::int64_t> NumberOrNone();
  bool Flag() { return Number() != 0; }

 private:
  sqlite3* db_;
  sqlite3_stmt* statement_;
  Sql sql_;
  int parameter_ = 0;
  int column_ = 0;
  int bind_result_ = SQLITE_OK;
};

/// All rows of a bound query, each read by `read`.
template <class Read>
auto Collect(Query& query, Read read) -> Result<std::vector<decltype(read(query))>> {
  std::vector<decltype(read(query))> rows;
  Result<bool> more = query.Next();
  for (; more.has_value() && more.value(); more = query.Next()) rows.push_back(read(query));
  if (more.has_error()) return more.error();
  return rows;
}

/// The instant in the first row of a statement without parameters, if there is a row.
Result<std::optional<Instant>> FirstInstant(Connection& connection, Sql sql);

}  // namespace dwell::store
