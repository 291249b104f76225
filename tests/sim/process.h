// One life of the daemon, from start to end or crash, on one thread: the real intake pipeline,
// ledger, store, engine of delivery and schedule of the alarm; time and the network are made up.
#pragma once

#include <chrono>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "daemon/alarm/schedule.h"
#include "daemon/delivery/engine.h"
#include "daemon/intake/pipeline.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/committer.h"
#include "tests/sim/disk.h"
#include "tests/sim/peer.h"
#include "tests/support/manual_clock.h"

namespace dwell::sim {

using Steady = std::chrono::steady_clock::time_point;

/// What outlives a process. Nobody else changes the clocks while a process is at work.
struct Outside {
  Disk& disk;
  Peer& peer;
  Random& random;
  Findings& findings;
  const ledger::Rules& rules;
  test::ManualClock wall;
  Steady steady{std::chrono::hours(1)};
  Instant wall_most{};  ///< the latest that the wall clock ever showed
  std::uint64_t attempts = 0;
};

/// The store's jobs on the one thread there is.
class QueuedJobs final : public store::Jobs {
 public:
  void Post(store::Job job) override { waiting_.Add(std::move(job)); }
  bool empty() const { return waiting_.empty(); }
  std::vector<store::Job> Take() { return waiting_.Take(); }

 private:
  store::WaitingJobs waiting_;
};

class Process {
 public:
  static constexpr const char* kPath = "/store";
  static constexpr std::size_t kInFlightMax = 4;
  static constexpr std::chrono::days kKeepDelivered{2};

  /// Opens the store. Fails as Store::Open() does.
  static Result<std::unique_ptr<Process>> Start(Outside& outside);

  intake::Pipeline& pipeline() { return pipeline_; }
  ledger::Ledger& ledger() { return ledger_; }
  /// One step of the regular clean-up.
  void CleanUp();

  /// When something happens next by itself; empty: never.
  std::optional<Steady> NextTimer();
  /// Does all that is due now.
  void RunTimers();
  /// The store thread takes one batch at once, whatever its timer says.
  void CommitNow();
  /// Ends in good order: settles what is known, empties the log.
  void Finish();

  /// The store failed for good: the program ends (exit code 74).
  bool has_stopped() const { return stopped_.has_value(); }
  bool is_dead() const { return has_stopped() || outside_.disk.is_dead(); }
  /// A look at the store between two batches, without faults. False when it cannot be asked.
  bool Ask(std::function<Result<void>(store::Store&)> look);
  /// What a person decided about a bundle: it may go at once.
  void ForgetWait(std::int64_t bundle_seq) { due_.erase(bundle_seq); }
  delivery::Progress progress() const { return engine_.progress(); }

 private:
  struct InFlight {
    delivery::Sending sending;
    Steady at;  ///< when it arrives, then when its answer does
    std::optional<net::Exchange> exchange;
  };

  Process(Outside& outside, std::unique_ptr<store::Store> store,
          std::optional<delivery::Identity> in_use);
  delivery::Times Now() const { return {outside_.wall.Now(), outside_.steady}; }
  void Decide();
  void Visit(delivery::Visit visit);
  void Send(delivery::Sending sending);
  void Arrive(InFlight& flight);
  void Answer(InFlight flight);
  void RunAlarm();
  std::optional<Steady> AlarmAt() const;
  void NoteWaits(const delivery::Visit& visit);

  Outside& outside_;
  std::optional<Error> stopped_;
  store::Committer committer_;
  QueuedJobs jobs_;
  ledger::Ledger ledger_;
  intake::Pipeline pipeline_;
  delivery::Engine engine_;
  alarm::Schedule schedule_;

  bool must_decide_ = true;
  std::optional<Steady> bell_;
  std::optional<Steady> gather_at_;  ///< settlements have waited for company
  std::optional<Steady> batch_at_;   ///< the disk is free for the next batch
  std::optional<Steady> quiet_at_;
  std::optional<Steady> told_at_;  ///< the endpoint's statement has been read
  std::vector<InFlight> in_flight_;

  // I5: what may not happen before which time.
  std::optional<Steady> paused_until_;  ///< by the endpoint's own words
  delivery::Times first_;               ///< the first moment that the engine was told
  std::set<std::int64_t> ended_;        ///< attempts that ended and were not yet settled
  std::map<std::int64_t, Steady> due_;  ///< when a bundle may go again
};

}  // namespace dwell::sim
