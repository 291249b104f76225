// Which line may go from the store: (its life, its dues, what hangs on it) -> why it is kept. Pure.
#pragma once

#include <string_view>
#include <vector>

#include "daemon/store/store.h"
#include "mapping/due/due.h"
#include "mapping/line/line.h"

namespace dwell::ledger {

/// All that the decision looks at.
struct Keepsake {
  const line::Line& line;
  const std::vector<due::Due>& dues;  ///< of that line, as of now
  Instant last_event_at{};            ///< when the newest of its events came in
  store::Ties ties;
  bool given_up = false;  ///< something of it counts as not issued, see ForgetIssued()
};

/// Why the line must be kept, the first reason of the table in keeping.cc; empty when its events
/// may go. "in-use": neither removed, never placed nor entered in error. "recent": an event came,
/// or a delivery was settled, after `until`. "due": something is still to be done; only a look at
/// the site after the removal that nobody took, and that came too late long ago, is not waited for.
/// "open-delivery", "perhaps-arrived", "awaits": see store::Ties. "given-up": see Keepsake.
std::string_view WhyKept(const Keepsake& keepsake, Instant until);

}  // namespace dwell::ledger
