// What became of reading the endpoint's statement. Pure.
#pragma once

#include <optional>

#include "daemon/delivery/capability.h"
#include "daemon/net/exchange.h"

namespace dwell::delivery {

struct Statement {
  /// Whether the endpoint answered for itself. Otherwise nothing was learned: no connection, not
  /// let in, not ready, or only what stands before it spoke.
  bool is_told = false;
  std::optional<Capability> capability;  ///< empty: it has none, or none that can be read
};

Statement ReadStatement(const net::Exchange& exchange);

}  // namespace dwell::delivery
