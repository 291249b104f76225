// SHA-256 of an event's bytes: tells the same event from another one under the same id.
#pragma once

#include <string_view>

#include "daemon/store/store.h"

namespace dwell::ledger {

/// FIPS 180-4, over the event without the white space around it (RFC 8259): a line of a batch sent
/// again alone, with a line end behind it, is the same event. Safe from any thread.
store::Sha256 ContentHash(std::string_view event);

}  // namespace dwell::ledger
