// A visit of delivery to the store, and what it brings back.
#pragma once

#include <optional>
#include <vector>

#include "daemon/delivery/engine.h"

namespace dwell::delivery {

struct Errand {
  Visit visit;
  std::int64_t endpoint = 0;  ///< whose lanes
  std::vector<store::BundleRecord> claimed;
  std::optional<Instant> next_ready;

  /// Makes the visit, inside a transaction. Errors: the store's.
  Result<void> Run(store::Store& store);
};

}  // namespace dwell::delivery
