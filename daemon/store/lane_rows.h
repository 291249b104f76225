// How the rows of bundles are read; shared by the files that ask for them.
#pragma once

#include <string>

#include "daemon/store/connection.h"
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

/// The unpacked body. Fails (kCorrupt) when there is none.
Result<std::string> ReadBody(Connection& connection, std::int64_t bundle_seq);

}  // namespace dwell::store
