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

/// What Append() added; 0: nothing of it.
struct Appended {
  std::int64_t event_seq = 0;
  std::int64_t bundle_seq = 0;
};

struct Ledger::Impl {
  Impl(store::Jobs& store_jobs, const base::Clock& wall_clock, Rules all_rules)
      : jobs(store_jobs), clock(wall_clock), rules(std::move(all_rules)) {}

  store::Jobs& jobs;
  const base::Clock& clock;
  const Rules rules;
  LineCache cache{limits::kCachedEventsMax};  // the store thread's own
  std::mutex mutex;
  std::vector<std::function<void()>> listeners;  // guarded by mutex

  /// From memory or the store; null when there is no such line yet.
  Result<LineState*> Load(store::Store& store, const line::Key& key);
  /// The line's life with `added` (may be null) as one event more.
  Result<line::Line, line::Contradiction> Derive(
      const LineState& state, const std::shared_ptr<const event::Event>& added) const;
  /// Why no more deliveries can be taken now, in words; empty while there is room.
  std::string WhyNoRoom(const store::Store& store) const;
  /// Stores the line with its next change, the event (if any) and the bundle (if any), and brings
  /// `state` up to date. A bundle without an event keeps the event_seq that it has.
  Result<Appended> Append(store::Store& store, LineState& state, Making making,
                          const store::EventRecord* event);
  /// To be called first in every job's `done`.
  void Finish(const Touched& touched, const Result<void>& committed);
};

}  // namespace dwell::ledger
