#include "daemon/store/lane_rows.h"

#include <utility>

namespace dwell::store {

bool IsOpen(DeliveryState state) {
  return state != DeliveryState::kCompleted && state != DeliveryState::kCancelled;
}

std::int64_t Stored(DeliveryState state) { return static_cast<std::int64_t>(state); }

DeliveryState ReadState(Query& query) {
  const std::int64_t stored = query.Number();
  if (stored < 0 || stored > Stored(DeliveryState::kCancelled)) return DeliveryState::kOnHold;
  return static_cast<DeliveryState>(stored);
}

BundleRecord ReadBundle(Query& query) {
  BundleRecord bundle;
  bundle.seq = query.Number();
  bundle.line_seq = query.Number();
  bundle.event_seq = query.Number();
  bundle.made_at = query.When();
  bundle.state = ReadState(query);
  bundle.not_before = query.When();
  bundle.attempts = static_cast<std::uint32_t>(query.Number());
  bundle.uncertain = query.Flag();
  bundle.settled_at = query.WhenOrNone();
  bundle.entries = static_cast<std::uint32_t>(query.Number());
  bundle.why = query.Text();
  bundle.outcome = query.Text();
  bundle.kept = query.Flag();
  bundle.endpoint = query.Number();
  bundle.ward = query.Number();
  return bundle;
}

Result<void> ReadBody(Connection& connection, BundleRecord& bundle) {
  Query body(connection, Sql::kReadBody);
  const Result<bool> row = body.Bind(bundle.seq).Next();
  if (row.has_error()) return row.error();
  auto text = row.value() ? Packer::Unpack(body.Bytes(), OwnerOf(bundle)) : std::nullopt;
  bundle.damaged = !text.has_value();
  if (text) bundle.body = std::move(*text);
  return {};
}

Owner OwnerOf(const BundleRecord& bundle) {
  return {bundle.seq, bundle.line_seq, bundle.endpoint, bundle.entries};
}

}  // namespace dwell::store
