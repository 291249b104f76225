// Who goes next: within a ward the oldest first, between wards in turn.
#include <algorithm>
#include <limits>
#include <utility>

#include "daemon/base/log.h"
#include "daemon/store/lane_rows.h"
#include "daemon/store/store_db.h"

namespace dwell::store {
namespace {

constexpr Instant kAtOnce{};
constexpr std::chrono::milliseconds kTick{1};
constexpr std::int64_t kBeforeAnyWard = -1;

/// A ward with lanes whose head is ready, and the first of their not_before.
struct Waiting {
  std::int64_t ward = 0;
  Instant first{};
};

/// The next one after a ward, by number; empty at the end.
Result<std::optional<Waiting>> NextWard(Connection& connection, std::int64_t endpoint,
                                        std::int64_t after) {
  Query query(connection, Sql::kNextWard);
  const Result<bool> row = query.Bind(endpoint).Bind(after).Next();
  if (row.has_error()) return row.error();
  if (!row.value()) return std::optional<Waiting>();
  Waiting waiting;
  waiting.ward = query.Number();
  waiting.first = query.When();
  return std::optional(waiting);
}

/// One visit of Claim(): rounds over the wards, each giving its share a round.
class Claiming {
 public:
  Claiming(Store& store, Store::Db& db, std::int64_t endpoint, Instant now, std::size_t max)
      : store_(store), db_(db), endpoint_(endpoint), now_(now), max_(max) {}

  Result<std::vector<BundleRecord>> Run() && {
    std::vector<std::int64_t> wards;  // that may give more
    if (auto done = FirstRound(wards); done.has_error()) return done.error();
    // The share doubles, so that a ward that is alone costs little more than no wards at all.
    for (std::size_t share = 2; !wards.empty() && !is_full(); share *= 2) {
      if (auto done = Round(wards, share); done.has_error()) return done.error();
    }
    return std::move(claimed_);
  }

 private:
  bool is_full() const { return claimed_.size() >= max_; }

  /// Begins after the ward that was served last, so that however little is asked for at a time
  /// every ward has its turn.
  Result<void> FirstRound(std::vector<std::int64_t>& wards) {
    const std::int64_t served_last = db_.served_last[endpoint_];
    auto done = FirstRoundOver(served_last, std::numeric_limits<std::int64_t>::max(), wards);
    if (done.has_error() || is_full()) return done;
    return FirstRoundOver(kBeforeAnyWard, served_last, wards);
  }

  Result<void> FirstRoundOver(std::int64_t after, std::int64_t until,
                              std::vector<std::int64_t>& wards) {
    while (!is_full()) {
      const auto next = NextWard(db_.connection, endpoint_, after);
      if (next.has_error()) return next.error();
      if (!next.value() || (*next.value()).ward > until) break;
      after = (*next.value()).ward;
      const Result<bool> more = Take(*next.value(), 1);
      if (more.has_error()) return more.error();
      if (more.value()) wards.push_back(after);
    }
    return {};
  }

  Result<void> Round(std::vector<std::int64_t>& wards, std::size_t share) {
    std::vector<std::int64_t> left;
    for (const std::int64_t ward : wards) {
      if (is_full()) break;
      const Result<bool> more = Take({ward, kAtOnce}, share);
      if (more.has_error()) return more.error();
      if (more.value()) left.push_back(ward);
    }
    wards = std::move(left);
    return {};
  }

  /// Up to `share` of a ward; whether it gave so many. Those that waited for their time come first,
  /// then those that never had to.
  Result<bool> Take(const Waiting& waiting, std::size_t share) {
    const std::int64_t ward = waiting.ward;
    const std::size_t before = claimed_.size();
    const std::size_t wanted = std::min(before + share, max_);
    Result<void> done;
    if (waiting.first <= now_) {
      done = TakeBetween(ward, kAtOnce + kTick, now_, wanted);
      if (done.has_value()) done = TakeBetween(ward, Instant::min(), kAtOnce, wanted);
    }
    if (done.has_error()) return done.error();
    if (claimed_.size() > before) db_.served_last[endpoint_] = ward;
    return claimed_.size() == before + share;
  }

  /// Claims what has its not_before between the two, up to `wanted` in all. What had to be put on
  /// hold uses up nobody's turn.
  Result<void> TakeBetween(std::int64_t ward, Instant from, Instant until, std::size_t wanted) {
    bool is_any_held = true;
    while (is_any_held && claimed_.size() < wanted) {
      is_any_held = false;
      const auto taken = TakeFirst(ward, from, until, wanted, is_any_held);
      if (taken.has_error()) return taken;
    }
    return {};
  }

  Result<void> TakeFirst(std::int64_t ward, Instant from, Instant until, std::size_t wanted,
                         bool& is_any_held) {
    auto found = [&] {
      Query ready(db_.connection, Sql::kClaimable);
      ready.Bind(endpoint_).Bind(ward).Bind(from).Bind(until);
      ready.Bind(static_cast<std::int64_t>(wanted - claimed_.size()));
      return Collect(ready, ReadBundle);
    }();
    if (found.has_error()) return found.error();
    for (BundleRecord& bundle : found.value()) {
      if (bundle.state != DeliveryState::kReady) {
        // To go on would send it again and again: its row and the index disagree.
        return Error(ErrorKind::kCorrupt, "the store's file is damaged: a ready bundle is not");
      }
      auto done = ReadBody(db_.connection, bundle);
      is_any_held = is_any_held || bundle.damaged;
      if (done.has_value()) done = bundle.damaged ? Hold(bundle) : Give(std::move(bundle));
      if (done.has_error()) return done;
    }
    return {};
  }

  Result<void> Give(BundleRecord bundle) {
    auto done = Query(db_.connection, Sql::kMarkInProgress).Bind(bundle.seq).Run();
    if (done.has_error()) return done;
    db_.Count(endpoint_, &bundle.state, DeliveryState::kInProgress);
    bundle.state = DeliveryState::kInProgress;
    claimed_.push_back(std::move(bundle));
    return {};
  }

  /// Nobody knows what it said: a person decides, its lane waits, all others go on.
  Result<void> Hold(const BundleRecord& bundle) {
    log::Write(log::Level::kError, "stored-bundle-damaged", {{"bundle_seq", bundle.seq}});
    Settlement held;
    held.bundle_seq = bundle.seq;
    held.state = DeliveryState::kOnHold;
    held.at = now_;
    held.uncertain = bundle.uncertain;
    held.counts = false;
    held.why = kDamagedBody;
    return store_.Settle(held);
  }

  Store& store_;
  Store::Db& db_;
  std::int64_t endpoint_;
  Instant now_;
  std::size_t max_;
  std::vector<BundleRecord> claimed_;
};

}  // namespace

Result<std::vector<BundleRecord>> Store::Claim(std::int64_t endpoint, Instant now,
                                               std::size_t max) {
  return Claiming(*this, *db_, endpoint, now, max).Run();
}

Result<std::optional<Instant>> Store::NextReady(std::int64_t endpoint) {
  std::optional<Instant> earliest;
  std::int64_t after = kBeforeAnyWard;
  while (!earliest || *earliest > kAtOnce) {  // nothing is earlier than at once
    const auto next = NextWard(db_->connection, endpoint, after);
    if (next.has_error()) return next.error();
    if (!next.value()) break;
    after = (*next.value()).ward;
    const Instant first = (*next.value()).first;
    if (!earliest || first < *earliest) earliest = first;
  }
  return earliest;
}

}  // namespace dwell::store
