// What the sender and the house know for certain, and whether the store agrees: invariants I1, I2,
// I6, I7 and what a state promises.
#pragma once

#include <map>
#include <set>
#include <string>

#include "daemon/intake/reply.h"
#include "daemon/store/store.h"
#include "tests/sim/findings.h"
#include "tests/sim/peer.h"
#include "tests/sim/ward.h"

namespace dwell::sim {

/// Deliveries that may wait before new events are put off, in every simulated house.
inline constexpr std::uint64_t kQueueMax = 40;

class Records {
 public:
  Records(Findings& findings, const Peer& peer) : findings_(findings), peer_(peer) {}

  /// The sender was answered.
  void Answered(const Told& told, bool is_legal, const intake::Reply& reply);
  /// What the store's own books say: cheap.
  Result<void> CheckBooks(store::Store& store);
  /// Every event that was ever acknowledged, and every delivery.
  Result<void> CheckAll(store::Store& store);
  /// After long enough in peace: nothing waits that nobody holds up, and the record knows of
  /// everything that is due now.
  Result<void> CheckEnd(store::Store& store, Instant wall);

  const std::map<std::string, std::string>& acknowledged() const { return acknowledged_; }

 private:
  void CheckBundle(const store::BundleRecord& bundle);
  void CheckTasks(const std::set<std::int64_t>& held_lanes, Instant wall);

  Findings& findings_;
  const Peer& peer_;
  std::map<std::string, std::string> acknowledged_;  ///< raw, by id
  std::int64_t bundles_seen_ = 0;
};

}  // namespace dwell::sim
