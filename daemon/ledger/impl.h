// What the ledger holds; shared by the files that implement it.
#pragma once

#include <functional>
#include <mutex>
#include <optional>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/ledger/ledger.h"
#include "daemon/ledger/line_cache.h"
#include "daemon/ledger/making.h"

namespace dwell::ledger {

/// What one job of ours changed; so that it can be forgotten after a rollback.
struct Touched {
  std::vector<line::Key> lines;
  bool news = false;
};

/// Those of the bundles that are this endpoint's.
Result<std::vector<store::BundleRecord>> OfEndpoint(
    Result<std::vector<store::BundleRecord>> bundles, std::int64_t endpoint);

/// What Append() added.
struct Appended {
  std::int64_t event_seq = 0;  ///< 0: none
  struct Bundle {
    std::int64_t seq = 0;
    std::int64_t endpoint = 0;
  };
  std::vector<Bundle> bundles;
};

struct Ledger::Impl {
  Impl(store::Jobs& store_jobs, const base::Clock& wall_clock, Rules all_rules)
      : jobs(store_jobs), clock(wall_clock), rules(std::move(all_rules)) {}

  store::Jobs& jobs;
  const base::Clock& clock;
  Rules rules;                                // the store thread's own
  LineCache cache{limits::kCachedEventsMax};  // the store thread's own
  std::optional<Instant> caught_up_to;        // the store thread's own; empty: not since the start
  std::mutex mutex;
  std::vector<std::function<void()>> listeners;  // guarded by mutex

  /// From memory or the store; null when there is no such line yet. Fails (kData) as
  /// ReadLineState() does; a line found damaged is marked so, and looked at again in a while.
  Result<LineState*> Load(store::Store& store, const line::Key& key);
  Result<void> Note(store::Store& store, const store::LineRecord& record,
                    const Result<LineState>& state) const;
  /// The line's life with `added` (may be null) as one event more.
  Result<line::Line, line::Contradiction> Derive(
      const LineState& state, const std::shared_ptr<const event::Event>& added) const;
  /// Why no more deliveries can be taken now, in words; empty while there is room.
  std::string WhyNoRoom(const store::Store& store) const;
  /// Stores the line with its next change, the event (if any) and the bundles (if any), and brings
  /// `state` up to date. Bundles without an event keep the event_seq that they have.
  Result<Appended> Append(store::Store& store, LineState& state, Making making,
                          const store::EventRecord* event);
  /// To be called first in every job's `done`.
  void Finish(const Touched& touched, const Result<void>& committed);
};

}  // namespace dwell::ledger
