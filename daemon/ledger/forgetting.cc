// Lines that ended long ago: their events' bytes and their own state leave the store.
#include <algorithm>

#include "daemon/ledger/held.h"
#include "daemon/ledger/impl.h"
#include "daemon/ledger/keeping.h"

namespace dwell::ledger {
namespace {

/// Whether the line must stay. One that cannot be read or derived any more is nobody's to judge: it
/// stays.
Result<bool> MustStay(const Ledger::Impl& ledger, store::Store& store, const LineState& state,
                      Instant last_event_at, Instant until) {
  const auto line = ledger.Derive(state, nullptr);
  if (line.has_error()) return true;
  const auto ties = store.TiesOf(state.seq);
  if (ties.has_error()) return ties.error();
  const auto dues =
      due::Compute(*line, *ledger.rules.policy, *ledger.rules.zone, ledger.clock.Now());
  const Keepsake keepsake{*line, dues, last_event_at, *ties,
                          std::ranges::any_of(state.issued, IsForgotten)};
  return !WhyKept(keepsake, until).empty();
}

}  // namespace

Result<StoppedKeeping> Ledger::StopKeeping(store::Store& store, Instant until,
                                           const store::QuietLine& after) {
  StoppedKeeping stopped;
  stopped.after = after;
  const auto quiet = store.QuietLines(after, until, limits::kQuietLinesMax);
  if (quiet.has_error()) return quiet.error();
  std::size_t events = 0;  // read so far
  for (const store::QuietLine& each : quiet.value()) {
    if (events >= limits::kQuietEventsMax) break;
    stopped.after = each;
    ++stopped.looked_at;
    // Not through the memory of lines in use, which this one would crowd.
    const auto record = store.LoadLine(each.seq);
    if (record.has_error()) return record.error();
    const auto state = ReadLineState(*record.value());
    if (state.has_error()) continue;
    events += state->events.size();
    const Result<bool> stays = MustStay(*impl_, store, *state, each.last_event_at, until);
    if (stays.has_error()) return stays.error();
    if (stays.value()) continue;
    const auto removed = store.StopKeeping(each.seq, impl_->clock.Now());
    if (removed.has_error()) return removed.error();
    impl_->cache.Drop(state->key);
    ++stopped.lines;
    stopped.events += removed.value();
  }
  return stopped;
}

}  // namespace dwell::ledger
