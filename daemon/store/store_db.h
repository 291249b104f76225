// What a Store holds; shared by the files that implement it.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "daemon/store/connection.h"
#include "daemon/store/files.h"
#include "daemon/store/packing.h"
#include "daemon/store/sources.h"
#include "daemon/store/store.h"

namespace dwell::store {

struct Store::Db {
  Connection connection;
  const Files* files = nullptr;
  std::string path;  ///< its file system is asked for free space
  std::uint64_t free_bytes_min = 0;
  Counts counts;     ///< with the open transaction's changes
  Counts committed;  ///< without them
  bool counts_changed = false;
  /// By number, without gaps, with the open transaction's changes; and without them. The counts of
  /// the first are made when they are asked for.
  std::vector<EndpointRecord> endpoints, committed_endpoints;
  std::map<std::string, std::int64_t, std::less<>> wards;  ///< numbers found so far
  std::map<std::int64_t, std::int64_t> served_last;  ///< by endpoint: the ward Claim() ended with
  Sources sources;                                   ///< who sent when
  bool awaits_any = false;  ///< whether the table of awaited ids may hold something
  Packer packer;

  /// The counter of a state.
  static std::uint64_t& CounterOf(DeliveryCounts& counts, DeliveryState state);
  /// One bundle of an endpoint more (from == nullptr) or moved from a state to another.
  void Count(std::int64_t endpoint, const DeliveryState* from, DeliveryState to);
  /// Writes the counts into the file: those of all, and of each endpoint but the main one.
  Result<void> WriteCounts();
};

}  // namespace dwell::store
