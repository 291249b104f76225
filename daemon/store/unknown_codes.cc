// Codes of events that the code maps do not know, counted.
#include "daemon/store/store_db.h"

namespace dwell::store {

Result<void> Store::CountUnknownCode(std::string_view group, std::string_view code, Instant at) {
  Connection& connection = db_->connection;
  auto counted = Query(connection, Sql::kCountUnknownCode).Bind(at).Bind(group).Bind(code).Run();
  if (!counted || sqlite3_changes(connection.db.get()) > 0) return counted;
  std::int64_t known = 0;
  {
    Query rows(connection, Sql::kUnknownCodeRows);
    const Result<bool> row = rows.Next();
    if (row.has_error()) return row.error();
    known = rows.Number();
  }
  const bool full = known >= std::int64_t{limits::kUnknownCodesMax};
  if (full && !code.empty()) return CountUnknownCode("", "", at);
  return Query(connection, Sql::kAddUnknownCode).Bind(group).Bind(code).Bind(at).Bind(at).Run();
}

Result<std::vector<UnknownCodeRecord>> Store::ListUnknownCodes() {
  Query query(db_->connection, Sql::kListUnknownCodes);
  return Collect(query, [](Query& row) {
    UnknownCodeRecord record;
    record.group = row.Text();
    record.code = row.Text();
    record.events = static_cast<std::uint64_t>(row.Number());
    record.first_seen = row.When();
    record.last_seen = row.When();
    return record;
  });
}

}  // namespace dwell::store
