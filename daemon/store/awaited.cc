// Events that another one names and that have not come.
#include "daemon/store/store_db.h"

namespace dwell::store {

Result<void> Store::Await(std::string_view source, std::string_view id, std::int64_t line_seq) {
  db_->awaits_any = true;  // after a rollback, too: then it only costs a look-up
  return Query(db_->connection, Sql::kAwait).Bind(source).Bind(id).Bind(line_seq).Run();
}

Result<std::optional<std::int64_t>> Store::AwaitedBy(std::string_view source, std::string_view id) {
  if (!db_->awaits_any) return std::optional<std::int64_t>();
  Query query(db_->connection, Sql::kAwaitedBy);
  const Result<bool> row = query.Bind(source).Bind(id).Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<std::int64_t>();
  return std::optional(query.Number());
}

Result<void> Store::StopAwaiting(std::string_view source, std::string_view id) {
  return Query(db_->connection, Sql::kStopAwaiting).Bind(source).Bind(id).Run();
}

}  // namespace dwell::store
