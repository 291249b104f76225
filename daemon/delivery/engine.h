// Decides what delivery does next: when to visit the store and what for, what goes out on which
// sender, when everything must wait. Pure: told of facts and of the times, it knows no clock, no
// store, no socket and no chance, so a test can drive it through any order of events.
//
// Whoever drives it tells each fact as it comes about, then calls Decide() and does what the Orders
// say: makes the visit and tells Visited() or VisitFailed(); carries each sending and tells
// Ended(); reads the statement and tells Told(); tells Gathered() in time; calls Decide() again
// when the bell's time has come.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <unordered_set>
#include <vector>

#include "daemon/delivery/health.h"
#include "daemon/delivery/outcome.h"
#include "daemon/delivery/progress.h"
#include "daemon/delivery/turns.h"
#include "daemon/delivery/writing.h"
#include "daemon/store/store.h"

namespace dwell::delivery {

/// One moment on both clocks. The wall clock may jump; the steady one orders our own waits. In the
/// store these stand as instants of a clock that showed the same as the wall clock when the engine
/// was first told the time, and that nobody sets: so no wait gets shorter or longer.
struct Times {
  Instant wall{};
  std::chrono::steady_clock::time_point steady;
};

/// One visit to the store, in one transaction: first, if it is said, let no wait end later than
/// `waits_end_by`; settle all, keep `holding` if it is said, then claim at most `wanted` as of
/// `now`, then ask when the next becomes ready.
struct Visit {
  std::optional<Instant> waits_end_by;
  std::vector<store::Settlement> settlements;
  std::size_t wanted = 0;
  Instant now{};  ///< of the clock that nobody sets
  /// By what the endpoint holds resources of ours, or may from now on. Told before anything goes
  /// out so, and only when it is another than was told before.
  struct Holding {
    std::optional<Identity> identity;
    bool operator==(const Holding&) const = default;
  };
  std::optional<Holding> holding;
};

/// Goes out on a sender of its own, numbered from 0.
struct Sending {
  std::size_t sender = 0;
  WriteStyle style;
  /// At least one; several are of as many lanes and share a request.
  std::vector<store::BundleRecord> bundles;
};

/// What is to be done now.
struct Orders {
  std::optional<Visit> visit;  ///< never while another has not been answered
  std::vector<Sending> sendings;
  bool read_statement = false;  ///< never while the last reading has not been answered
  /// Decide() must be called then, or earlier; takes the place of the bell before.
  std::optional<std::chrono::steady_clock::time_point> bell;
  /// Gathered() is to be told so much later, unless a visit is ordered before.
  std::optional<std::chrono::milliseconds> gather;
  bool cut_off = false;   ///< the drain time is over: what is in flight must end now
  bool finished = false;  ///< after Drain(): nothing is in flight and nothing is left to tell
};

class Engine {
 public:
  using Time = std::chrono::steady_clock::time_point;

  struct Settings {
    std::size_t in_flight_max = limits::kInFlightMax;  ///< senders; at least one
    Backoff backoff{};
    Pins pins{};
    FhirRelease release = FhirRelease::kR4;
    bool reads_statement = false;  ///< where the pins leave a choice
    /// Visit::holding as it was kept last, by an engine before this one.
    std::optional<Identity> in_use = std::nullopt;
  };

  explicit Engine(const Settings& settings);

  /// The store may hold something to send.
  void News();
  /// The visit was committed. `claimed` are in-progress in the store and in our hands;
  /// `next_ready` is what Store::NextReady() said.
  void Visited(std::vector<store::BundleRecord> claimed, std::optional<Instant> next_ready,
               const Times& now);
  /// Nothing of the visit happened.
  void VisitFailed(Visit visit, const Times& now);
  /// What was to wait for company has waited; too often and too early does no harm.
  void Gathered();
  /// What came of a sending, which is handed back. `random` is uniform and new each time.
  void Ended(const Sending& sending, const Outcome& outcome, const Times& now,
             std::uint64_t random);
  /// What reading the statement came to.
  void Told(const Statement& statement, const Times& now);
  /// No more is claimed or sent; after `time_max` what is in flight is cut off. Told once
  /// more: the new time counts.
  void Drain(const Times& now, std::chrono::milliseconds time_max);

  Orders Decide(const Times& now);

  const WriteStyle& style() const { return writing_.style(); }
  /// Without clock_ahead, which is not known here.
  Progress progress() const;

 private:
  Instant Unset(const Times& now);
  void HearBells(Time now);
  void GiveBackFetched(Instant now);
  /// How many sendings may be in flight.
  std::size_t Allowed(Time now) const;
  Sending NextSending(std::size_t allowed);
  bool MayShare(const store::BundleRecord& bundle) const;
  void TakeShare(std::size_t allowed, std::vector<store::BundleRecord>& share);
  void SettleOne(const store::BundleRecord& bundle, const Verdict& verdict, bool in_company,
                 const Times& now, std::uint64_t random);
  std::size_t Wanted(Time now) const;
  bool IsOut() const;
  Visit::Holding HoldingNow() const;
  bool IsUrgent(std::size_t wanted) const;
  void DecideVisit(const Times& now, Orders& orders);
  std::optional<Time> NextBell(Time now) const;
  void Note(const Verdict& verdict);

  Backoff backoff_;
  Health health_;
  Writing writing_;
  Progress progress_;

  std::optional<Times> first_;  ///< the first moment that we were told
  bool has_visited_ = false;    ///< at least once, and it was committed

  std::vector<std::size_t> idle_;           ///< senders; the one that worked last is at the end
  std::size_t active_ = 0;                  ///< senders at work
  std::size_t in_flight_ = 0;               ///< bundles that they carry
  Turns fetched_;                           ///< claimed, not yet sent
  std::vector<store::Settlement> settled_;  ///< not yet told to the store
  /// Of bundles that were refused or got lost in company: whose fault that was is not known. After
  /// a restart they are tried in company once more.
  std::unordered_set<std::int64_t> alone_;
  bool is_gathering_ = false;
  bool is_gathered_ = false;
  bool is_visiting_ = false;
  std::size_t visit_wanted_ = 0;
  Visit::Holding visit_holding_, kept_holding_;  ///< of the visit; as it stands in the store
  bool more_ = true;                             ///< the store may hold more
  bool is_draining_ = false;
  bool is_paused_ = false;  ///< as of the last Decide()

  // When to look again, and why.
  std::optional<Time> ready_at_;    ///< the next bundle becomes ready
  std::optional<Time> rest_until_;  ///< the store may be asked again
  std::optional<Time> cut_off_at_;  ///< the drain time is over
};

}  // namespace dwell::delivery
