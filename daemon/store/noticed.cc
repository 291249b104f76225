// What was noticed in events that were stored all the same, counted: codes that the code maps do
// not know, patient identifiers that look wrong.
#include "daemon/store/store_db.h"

namespace dwell::store {
namespace {

/// A table of counts under a key of two texts. Rows stay, so that the last seq says how many there
/// are; the row with an empty key counts what came when there was no room for more.
struct Tally {
  Sql count, rows, add, list;
  std::size_t max;
};

constexpr Tally kUnknownCodes{Sql::kCountUnknownCode, Sql::kUnknownCodeRows, Sql::kAddUnknownCode,
                              Sql::kListUnknownCodes, limits::kUnknownCodesMax};
constexpr Tally kDoubtfulIdentifiers{Sql::kCountDoubtfulIdentifier, Sql::kDoubtfulIdentifierRows,
                                     Sql::kAddDoubtfulIdentifier, Sql::kListDoubtfulIdentifiers,
                                     limits::kDoubtfulIdentifiersMax};

Result<void> CountIn(Connection& connection, const Tally& tally, std::string_view first,
                     std::string_view second, Instant at) {
  auto counted = Query(connection, tally.count).Bind(at).Bind(first).Bind(second).Run();
  if (!counted || sqlite3_changes(connection.db.get()) > 0) return counted;
  std::int64_t known = 0;
  {
    Query rows(connection, tally.rows);
    const Result<bool> row = rows.Next();
    if (row.has_error()) return row.error();
    known = rows.Number();
  }
  const bool full = known >= static_cast<std::int64_t>(tally.max);
  if (full && !second.empty()) return CountIn(connection, tally, "", "", at);
  return Query(connection, tally.add).Bind(first).Bind(second).Bind(at).Bind(at).Run();
}

template <class Record>
Result<std::vector<Record>> ListOf(Connection& connection, const Tally& tally,
                                   std::string Record::*first, std::string Record::*second) {
  Query query(connection, tally.list);
  return Collect(query, [first, second](Query& row) {
    Record record;
    record.*first = row.Text();
    record.*second = row.Text();
    record.events = static_cast<std::uint64_t>(row.Number());
    record.first_seen = row.When();
    record.last_seen = row.When();
    return record;
  });
}

}  // namespace

Result<void> Store::CountUnknownCode(std::string_view group, std::string_view code, Instant at) {
  return CountIn(db_->connection, kUnknownCodes, group, code, at);
}

Result<std::vector<UnknownCodeRecord>> Store::ListUnknownCodes() {
  return ListOf(db_->connection, kUnknownCodes, &UnknownCodeRecord::group,
                &UnknownCodeRecord::code);
}

Result<void> Store::CountDoubtfulIdentifier(std::string_view source, std::string_view system,
                                            Instant at) {
  return CountIn(db_->connection, kDoubtfulIdentifiers, source, system, at);
}

Result<std::vector<DoubtfulIdentifierRecord>> Store::ListDoubtfulIdentifiers() {
  return ListOf(db_->connection, kDoubtfulIdentifiers, &DoubtfulIdentifierRecord::source,
                &DoubtfulIdentifierRecord::system);
}

}  // namespace dwell::store
