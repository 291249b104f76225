// Whether a stored line is what was stored: its row, and each of its events. Pure.
#pragma once

#include <string>

#include "daemon/store/store.h"

namespace dwell::ledger {

/// What of the line the disk gives back otherwise than it was given, in words; empty when all of it
/// is as it was stored, or is no longer kept. The events are compared with their SHA-256, and
/// counted. Whether they are the line's own is seen when they are read: ReadLineState().
std::string DamageOf(const store::LineRecord& line);

}  // namespace dwell::ledger
