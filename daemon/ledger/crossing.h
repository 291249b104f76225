// Corrections and retractions across lines: refused, whichever of the two events comes first.
#pragma once

#include <optional>

#include "daemon/ledger/line_cache.h"

namespace dwell::ledger {

/// Rule "other-line" of line::Contradiction: the event names an event of another line, or one that
/// another line waits for, or another line already named this event. Empty when none is so.
/// `state` is the event's own line without it. Fails with an error of the store; kData when the
/// other line can no longer be read.
Result<std::optional<line::Contradiction>> FindCrossing(store::Store& store, const LineState& state,
                                                        const event::Event& event);

/// After the event was added to its line: remembers what it names and has not come, and that it is
/// not awaited any more itself.
Result<void> RememberNamed(store::Store& store, const LineState& state, const event::Event& event);

}  // namespace dwell::ledger
