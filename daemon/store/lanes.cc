#include <algorithm>
#include <functional>
#include <utility>

#include "daemon/store/lane_rows.h"
#include "daemon/store/store_db.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

QueueRow ReadQueueRow(Query& query) {
  QueueRow row;
  row.bundle_seq = query.Number();
  row.source = query.Text();
  row.line_id = query.Text();
  row.event_id = query.Text();
  row.state = ReadState(query);
  row.made_at = query.When();
  row.not_before = query.When();
  row.attempts = static_cast<std::uint32_t>(query.Number());
  row.uncertain = query.Flag();
  row.why = query.Text();
  row.endpoint = query.Number();
  return row;
}

}  // namespace

Result<std::int64_t> Store::AddBundle(const BundleRecord& bundle) {
  Query lane(db_->connection, Sql::kLaneHasOpen);
  const Result<bool> has_open = lane.Bind(bundle.line_seq).Bind(bundle.endpoint).Next();
  if (has_open.has_error()) return has_open.error();
  const bool open = IsOpen(bundle.state);
  const bool head = open && !has_open.value();

  Query add(db_->connection, Sql::kAddBundle);
  add.Bind(bundle.line_seq).Bind(bundle.event_seq).Bind(bundle.made_at);
  add.Bind(Stored(bundle.state)).Bind(std::int64_t{open}).Bind(std::int64_t{head});
  add.Bind(bundle.not_before).Bind(std::int64_t{bundle.attempts});
  add.Bind(std::int64_t{bundle.uncertain}).Bind(bundle.settled_at);
  add.Bind(std::int64_t{bundle.entries});
  add.Bind(bundle.why).Bind(bundle.outcome).Bind(bundle.endpoint).Bind(bundle.ward);
  Result<void> done = add.Run();
  if (done.has_error()) return done.error();
  const std::int64_t seq = sqlite3_last_insert_rowid(db_->connection.db.get());
  const Owner owner{seq, bundle.line_seq, bundle.endpoint, bundle.entries};
  const std::string_view packed = db_->packer.Pack(bundle.body, owner);
  done = Query(db_->connection, Sql::kAddBody).Bind(seq).BindBlob(packed).Run();
  if (done.has_error()) return done.error();
  db_->Count(bundle.endpoint, nullptr, bundle.state);
  return seq;
}

Result<void> Store::Settle(const Settlement& settlement) {
  std::int64_t line_seq = 0;
  std::int64_t endpoint = 0;
  DeliveryState before{};
  {
    Query query(db_->connection, Sql::kStateOfBundle);
    const Result<bool> row = query.Bind(settlement.bundle_seq).Next();
    if (row.has_error()) return row.error();
    CHECK(row.value());
    line_seq = query.Number();
    endpoint = query.Number();
    before = ReadState(query);
  }
  CHECK(IsOpen(before));
  const bool open = IsOpen(settlement.state);
  Query settle(db_->connection, Sql::kSettle);
  settle.Bind(Stored(settlement.state)).Bind(std::int64_t{open}).Bind(settlement.not_before);
  settle.Bind(std::int64_t{settlement.counts}).Bind(std::int64_t{settlement.uncertain});
  settle.Bind(settlement.state == DeliveryState::kReady ? std::optional<Instant>()
                                                        : std::optional(settlement.at));
  settle.Bind(settlement.why).Bind(settlement.outcome).Bind(settlement.bundle_seq);
  Result<void> done = settle.Run();
  if (done.has_error()) return done;
  db_->Count(endpoint, &before, settlement.state);
  if (open) return {};
  return Query(db_->connection, Sql::kPromoteHead).Bind(line_seq).Bind(endpoint).Run();
}

Result<void> Store::EndWaitsBy(std::int64_t endpoint, Instant latest) {
  return Query(db_->connection, Sql::kEndWaitsBy).Bind(latest).Bind(endpoint).Run();
}

Result<Counts> Store::Count() {
  Counts counts = db_->counts;
  const Result<std::optional<Instant>> oldest = FirstInstant(db_->connection, Sql::kOldestWaiting);
  if (oldest.has_error()) return oldest.error();
  counts.oldest_waiting = oldest.value();
  return counts;
}

Result<std::vector<QueueRow>> Store::ListQueue(std::int64_t after, std::size_t max) {
  Query query(db_->connection, Sql::kListQueue);
  query.Bind(after).Bind(static_cast<std::int64_t>(max));
  auto rows = Collect(query, ReadQueueRow);
  if (rows.has_error()) return rows;
  for (QueueRow& row : rows.value()) {
    auto decisions = DecisionsAbout(row.bundle_seq);
    if (decisions.has_error()) return decisions.error();
    row.decisions = std::move(decisions.value());
  }
  return rows;
}

Result<std::vector<BundleRecord>> Store::BundlesOfEvent(std::int64_t event_seq) {
  Query query(db_->connection, Sql::kBundlesOfEvent);
  query.Bind(event_seq);
  auto bundles = Collect(query, ReadBundle);
  if (bundles.has_error()) return bundles;
  for (BundleRecord& bundle : bundles.value()) {
    auto decisions = DecisionsAbout(bundle.seq);
    if (decisions.has_error()) return decisions.error();
    bundle.decisions = std::move(decisions.value());
  }
  return bundles;
}

Result<std::optional<BundleRecord>> Store::FindBundle(std::int64_t bundle_seq) {
  Query query(db_->connection, Sql::kFindBundle);
  const Result<bool> row = query.Bind(bundle_seq).Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<BundleRecord>();
  BundleRecord bundle = ReadBundle(query);
  if (!bundle.kept) return std::optional(std::move(bundle));
  const Result<void> body = ReadBody(db_->connection, bundle);
  if (body.has_error()) return body.error();
  return std::optional(std::move(bundle));
}

Result<std::vector<std::int64_t>> Store::KeptBundles(std::int64_t line_seq) {
  Query query(db_->connection, Sql::kKeptBundles);
  query.Bind(line_seq);
  auto seqs = Collect(query, [](Query& row) { return row.Number(); });
  if (seqs.has_value()) std::ranges::sort(seqs.value(), std::greater<>());
  return seqs;
}

Result<std::vector<BundleRecord>> Store::BundlesSince(std::int64_t line_seq, Instant since) {
  Query query(db_->connection, Sql::kBundlesSince);
  query.Bind(line_seq).Bind(since);
  auto bundles = Collect(query, ReadBundle);
  if (bundles.has_value()) {
    std::ranges::sort(bundles.value(), std::greater<>(), &BundleRecord::seq);
  }
  return bundles;
}

Result<std::vector<BundleRecord>> Store::OpenOfLine(std::int64_t line_seq) {
  Query query(db_->connection, Sql::kOpenOfLine);
  query.Bind(line_seq);
  return Collect(query, ReadBundle);
}

}  // namespace dwell::store
