// SHA-256 of an event's bytes: tells the same event from another one under the same id.
#pragma once

#include <string_view>

#include "daemon/store/store.h"

namespace dwell::ledger {

/// FIPS 180-4. Safe from any thread.
store::Sha256 ContentHash(std::string_view bytes);

}  // namespace dwell::ledger
