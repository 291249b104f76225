// What a Store holds; shared by the files that implement it.
#pragma once

#include <string>

#include "daemon/store/connection.h"
#include "daemon/store/files.h"
#include "daemon/store/packing.h"
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
  bool awaits_any = false;  ///< whether the table of awaited ids may hold something
  Packer packer;

  /// The counter of a state.
  static std::uint64_t& CounterOf(Counts& counts, DeliveryState state);
  /// One bundle more (from == nullptr) or moved from a state to another.
  void Count(const DeliveryState* from, DeliveryState to);
};

}  // namespace dwell::store
