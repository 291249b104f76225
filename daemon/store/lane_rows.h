// How the rows of bundles are read; shared by the files that ask for them.
#pragma once

#include <string>

#include "daemon/store/connection.h"
#include "daemon/store/packing.h"
#include "daemon/store/store.h"

namespace dwell::store {

/// Neither completed nor cancelled.
bool IsOpen(DeliveryState state);

/// As it stands in the file.
std::int64_t Stored(DeliveryState state);

/// The next column. A number that is no state is damage that the file's own checks cannot see: it
/// reads as on-hold, the safe one.
DeliveryState ReadState(Query& query);

/// The columns of kClaimable and of all that give bundles: everything but the body.
BundleRecord ReadBundle(Query& query);

/// Fills in the unpacked body; a bundle whose body is missing, damaged or another's is marked so.
Result<void> ReadBody(Connection& connection, BundleRecord& bundle);

/// What its body is packed for.
Owner OwnerOf(const BundleRecord& bundle);

}  // namespace dwell::store
