// What one endpoint never got of a line although another did: it was configured later, or for more
// types of resources now than then.
#pragma once

#include <vector>

#include "daemon/ledger/accepted.h"
#include "daemon/ledger/impl.h"

namespace dwell::ledger {

struct NeverSent {
  fhir::Resource resource;      ///< as it was last made for an endpoint that gets everything
  std::int64_t bundle_seq = 0;  ///< the delivery that holds it
  Instant at{};                 ///< when that was accepted, or else made
};

/// In the order in which they were made. Only of the types that the endpoint gets; nothing that was
/// given up or is on hold; nothing of a line that is no longer kept, and nothing when the body of a
/// delivery to the endpoint is no longer stored: it may have held anything. `pieces` counts the
/// bodies read.
Result<std::vector<NeverSent>> FindNeverSent(store::Store& store, const Rules& rules,
                                             const store::LineRecord& record, std::int64_t endpoint,
                                             std::size_t& pieces);

}  // namespace dwell::ledger
