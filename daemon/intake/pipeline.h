// From the bytes of ward events to the answers, whoever brings them: the HTTP listener or the admin
// socket. Checks on the caller's thread, stores through the ledger.
#pragma once

#include <atomic>
#include <functional>
#include <memory>
#include <string>

#include "daemon/intake/answers.h"
#include "daemon/intake/reply.h"
#include "daemon/intake/tally.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/jobs.h"
#include "schemas/bundled.h"

namespace dwell::intake {

class Pipeline {
 public:
  /// All outlive the pipeline.
  Pipeline(ledger::Ledger& ledger, store::Jobs& jobs, const schemas::Bundled& schemas)
      : ledger_(ledger), jobs_(jobs), schemas_(schemas) {}

  /// One event (JSON). 201 with `location` after the synced commit, 200 for the same event again
  /// (both with warnings as "outcome", if there are any),
  /// 400 not JSON, 409 same id with other content, 413 too large, 422 against the contract or the
  /// line's life, 503 not now. Refusals are OperationOutcomes.
  void SubmitOne(std::string body, const Replies& done);

  /// Events one a line (NDJSON), each for itself, stored in one transaction. 200 with one answer a
  /// line, in order: {"line":1,"status":201,"source":…,"id":…} (and "outcome" if there are
  /// warnings) or with "outcome" in place of the event. Blank lines are skipped but counted. 400 no
  /// event at all, 413 too many, 503 not now: then nothing was stored.
  void SubmitBatch(std::string body, const Replies& done);

  /// What became of an event: 200 {"source","id","kind","line","received_at","deliveries":[…]},
  /// with "no_longer_kept_since" when its line ended so long ago that its bytes are gone, or 404.
  void Show(std::string source, std::string id, Audience audience, const Replies& done);

  /// From now on everything new is answered 503. Safe from any thread.
  void Drain() { draining_ = true; }
  /// The store has stopped for good: likewise. Safe from any thread.
  void StoreStopped() { store_stopped_ = true; }
  bool draining() const { return draining_; }
  bool store_stopped() const { return store_stopped_; }
  /// Whether new events are taken.
  bool ready() const { return !draining_ && !store_stopped_; }

  /// What whoever watches the daemon found: whether every thread moves, and whether also nothing
  /// else keeps events from being stored. Safe from any thread.
  void SetHealth(bool alive, bool well) {
    alive_ = alive;
    well_ = well;
  }
  bool alive() const { return alive_; }
  bool well() const { return well_; }

  /// Of events from all sides. Safe from any thread.
  Tally::Counts tally() const { return tally_->Read(); }

 private:
  ledger::Ledger& ledger_;
  store::Jobs& jobs_;
  const schemas::Bundled& schemas_;
  std::atomic<bool> draining_ = false;
  std::atomic<bool> store_stopped_ = false;
  std::atomic<bool> alive_ = true;
  std::atomic<bool> well_ = true;
  /// Shared with answers that are still on their way.
  std::shared_ptr<Tally> tally_ = std::make_shared<Tally>();
};

}  // namespace dwell::intake
