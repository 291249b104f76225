// Endpoints and wards: names that become numbers once and for all. And notes under a name.
#include <algorithm>
#include <utility>

#include "daemon/store/store_db.h"

namespace dwell::store {

const std::vector<EndpointRecord>& Store::endpoints() const {
  // What is counted for none of the others is the main one's.
  EndpointRecord& main = db_->endpoints.front();
  static_cast<DeliveryCounts&>(main) = db_->counts;
  for (std::size_t i = 1; i < db_->endpoints.size(); ++i) {
    const EndpointRecord& other = db_->endpoints[i];
    main.ready -= other.ready;
    main.in_progress -= other.in_progress;
    main.completed -= other.completed;
    main.on_hold -= other.on_hold;
    main.cancelled -= other.cancelled;
  }
  return db_->endpoints;
}

std::string Store::NameOfEndpoint(std::int64_t number) const {
  const auto at = static_cast<std::size_t>(number);
  if (db_->endpoints.size() < 2 || at >= db_->endpoints.size()) return {};
  return db_->endpoints[at].name;
}

Result<std::int64_t> Store::EndpointNumber(std::string_view name) {
  const auto known = std::ranges::find(db_->endpoints, name, &EndpointRecord::name);
  if (known != db_->endpoints.end()) return known->seq;
  EndpointRecord added;
  added.seq = static_cast<std::int64_t>(db_->endpoints.size());
  added.name = name;
  const auto done = Query(db_->connection, Sql::kAddEndpoint).Bind(added.seq).Bind(name).Run();
  if (done.has_error()) return done.error();
  db_->endpoints.push_back(added);
  return added.seq;
}

Result<void> Store::KeepIdentity(std::int64_t endpoint, std::string_view identity) {
  EndpointRecord& record = db_->endpoints.at(static_cast<std::size_t>(endpoint));
  Result<void> done =
      Query(db_->connection, Sql::kKeepIdentity).Bind(identity).Bind(endpoint).Run();
  if (done.has_value()) record.identity = identity;
  return done;
}

Result<std::int64_t> Store::WardNumber(std::string_view name) {
  if (const auto known = db_->wards.find(name); known != db_->wards.end()) return known->second;
  std::int64_t number = 0;
  {
    Query find(db_->connection, Sql::kFindWard);
    const Result<bool> row = find.Bind(name).Next();
    if (row.has_error()) return row.error();
    if (row.value()) {
      number = find.Number();
      db_->wards.emplace(name, number);
      return number;
    }
  }
  {
    Query rows(db_->connection, Sql::kWardRows);
    const Result<bool> row = rows.Next();
    if (row.has_error()) return row.error();
    number = rows.Number() + 1;
  }
  if (number > static_cast<std::int64_t>(limits::kWardsMax)) return std::int64_t{0};
  const auto done = Query(db_->connection, Sql::kAddWard).Bind(number).Bind(name).Run();
  if (done.has_error()) return done.error();
  db_->wards.emplace(name, number);
  return number;
}

Result<std::string> Store::FindNote(std::string_view name) {
  Query find(db_->connection, Sql::kFindNote);
  const Result<bool> row = find.Bind(name).Next();
  if (row.has_error()) return row.error();
  return row.value() ? find.Text() : std::string();
}

Result<void> Store::KeepNote(std::string_view name, std::string_view text) {
  return Query(db_->connection, Sql::kKeepNote).Bind(name).Bind(text).Run();
}

}  // namespace dwell::store
