#include "daemon/delivery/engine.h"

#include <algorithm>
#include <iterator>

#include "daemon/delivery/settle.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace {

using std::chrono::milliseconds;

/// Bundles claimed ahead for each one in flight, so that the senders have work while the disk
/// syncs.
constexpr std::size_t kAheadPerSender = 32;
/// So many settlements are told to the store at once; fewer wait for company a moment.
constexpr std::size_t kSettlementsMin = 32;
constexpr milliseconds kGatherTime{3};
/// After the store could not commit (no space).
constexpr milliseconds kStoreAgain{1'000};

/// One random number into another, so that the waits that come of one fact differ. The finaliser of
/// SplitMix64 (Steele, Lea and Flood, 2014).
std::uint64_t Mixed(std::uint64_t number) {
  number += 0x9E37'79B9'7F4A'7C15U;
  number = (number ^ (number >> 30U)) * 0xBF58'476D'1CE4'E5B9U;
  number = (number ^ (number >> 27U)) * 0x94D0'49BB'1331'11EBU;
  return number ^ (number >> 31U);
}

}  // namespace

Engine::Engine(const Settings& settings)
    : backoff_(settings.backoff),
      health_(settings.in_flight_max, settings.backoff),
      writing_(settings.pins, settings.release, settings.reads_statement, settings.in_use),
      kept_holding_{settings.in_use} {
  CHECK(settings.in_flight_max > 0);
  for (std::size_t sender = settings.in_flight_max; sender > 0; --sender) {
    idle_.push_back(sender - 1);
  }
}

/// What the wall clock would show, had nobody set it since the first moment.
Instant Engine::Unset(const Times& now) {
  if (!first_) first_ = now;
  return first_->wall + std::chrono::duration_cast<milliseconds>(now.steady - first_->steady);
}

void Engine::News() { more_ = true; }

void Engine::Gathered() {
  is_gathered_ = is_gathering_;
  is_gathering_ = false;
}

void Engine::Visited(std::vector<store::BundleRecord> claimed, std::optional<Instant> next_ready,
                     const Times& now) {
  CHECK(is_visiting_);
  is_visiting_ = false;
  has_visited_ = true;
  kept_holding_ = visit_holding_;
  if (visit_wanted_ > 0 && claimed.size() == visit_wanted_) more_ = true;
  for (store::BundleRecord& bundle : claimed) fetched_.Put(std::move(bundle));
  ready_at_.reset();
  if (!next_ready || is_draining_) return;
  const milliseconds wait = *next_ready - Unset(now);
  if (wait <= milliseconds(0)) {  // became ready since the visit took its time
    more_ = true;
  } else {
    ready_at_ = now.steady + wait;
  }
}

void Engine::VisitFailed(Visit visit, const Times& now) {
  CHECK(is_visiting_);
  is_visiting_ = false;
  // When we must end, these stay in-progress: uncertain at the next start.
  if (is_draining_) return;
  std::move(settled_.begin(), settled_.end(), std::back_inserter(visit.settlements));
  settled_ = std::move(visit.settlements);
  rest_until_ = now.steady + kStoreAgain;
}

void Engine::Ended(const Sending& sending, const Outcome& outcome, const Times& now,
                   std::uint64_t random) {
  CHECK(active_ > 0 && outcome.verdicts.size() == sending.bundles.size());
  --active_;
  in_flight_ -= sending.bundles.size();
  idle_.push_back(sending.sender);
  health_.Heed(outcome.sign, now.steady, random);
  const bool in_company = sending.bundles.size() > 1;
  bool is_too_large = false;
  for (std::size_t i = 0; i < sending.bundles.size(); ++i) {
    random = Mixed(random);
    const Verdict& verdict = outcome.verdicts[i];
    if (verdict.course == Course::kDone || verdict.uncertain) {
      writing_.Landed(sending.style.identity);
    }
    SettleOne(sending.bundles[i], verdict, in_company, now, random);
    is_too_large = is_too_large || (verdict.apart && verdict.too_large);
  }
  if (is_too_large) writing_.TooLarge(outcome.entries, now.steady);
}

void Engine::SettleOne(const store::BundleRecord& bundle, const Verdict& verdict, bool in_company,
                       const Times& now, std::uint64_t random) {
  const auto pause =
      std::max(milliseconds(0),
               std::chrono::duration_cast<milliseconds>(health_.paused_until() - now.steady));
  const milliseconds wait = WaitOf(verdict, bundle, backoff_, now.wall, random);
  store::Settlement settlement = Settle(bundle, verdict, Unset(now), wait, pause);
  settlement.at = now.wall;
  if (settlement.state != store::DeliveryState::kReady) {
    alone_.erase(bundle.seq);
  } else if (in_company && !verdict.untouched && !verdict.too_large) {
    alone_.insert(bundle.seq);
    settlement.counts = false;  // it may be another's fault
  }
  settled_.push_back(std::move(settlement));
  Note(verdict);
}

void Engine::Told(const Statement& statement, const Times& now) {
  writing_.Told(statement, IsOut(), now.steady);
}

void Engine::Drain(const Times& now, milliseconds time_max) {
  is_draining_ = true;
  cut_off_at_ = now.steady + time_max;
  ready_at_.reset();
  rest_until_.reset();
}

Orders Engine::Decide(const Times& now) {
  if (!first_) first_ = now;
  HearBells(now.steady);
  Orders orders;
  writing_.Regrow(now.steady);
  orders.read_statement = Allowed(now.steady) > 0 && writing_.IsDue(now.steady);
  if (orders.read_statement) writing_.Asked();
  const std::size_t allowed = Allowed(now.steady);
  if (allowed == 0) GiveBackFetched(now.wall);
  while (!fetched_.empty() && active_ < allowed) orders.sendings.push_back(NextSending(allowed));
  DecideVisit(now, orders);
  if (cut_off_at_ && *cut_off_at_ <= now.steady) {
    cut_off_at_.reset();
    orders.cut_off = true;
  }
  orders.finished =
      is_draining_ && active_ == 0 && !is_visiting_ && settled_.empty() && !writing_.is_asking();
  if (!orders.finished) orders.bell = NextBell(now.steady);
  is_paused_ = health_.Allowed(now.steady) == 0;
  return orders;
}

void Engine::HearBells(Time now) {
  const bool pause_ended = is_paused_ && health_.Allowed(now) > 0;
  const bool is_ready = ready_at_ && *ready_at_ <= now;
  const bool is_rested = rest_until_ && *rest_until_ <= now;
  if (pause_ended) writing_.CameBack(now);
  if (is_ready) ready_at_.reset();
  if (is_rested) rest_until_.reset();
  more_ = more_ || pause_ended || is_ready || is_rested;
}

void Engine::GiveBackFetched(Instant now) {
  while (!fetched_.empty()) settled_.push_back(GiveBack(fetched_.Take(), now));
}

std::size_t Engine::Allowed(Time now) const {
  return is_draining_ || writing_.is_blocking() ? 0 : health_.Allowed(now);
}

Sending Engine::NextSending(std::size_t allowed) {
  Sending sending;
  sending.sender = idle_.back();
  idle_.pop_back();
  sending.style = style();
  TakeShare(allowed, sending.bundles);
  ++active_;
  in_flight_ += sending.bundles.size();
  return sending;
}

/// Only what was never tried, or was never sent when it was: of all else somebody may be to blame.
bool Engine::MayShare(const store::BundleRecord& bundle) const {
  return bundle.attempts == 0 && !bundle.uncertain && !alone_.contains(bundle.seq);
}

/// Takes what goes out together. Nobody waits for company: each of the senders gets as many as wait
/// for it anyway.
void Engine::TakeShare(std::size_t allowed, std::vector<store::BundleRecord>& share) {
  const std::size_t most = std::min(style().share_max, fetched_.size() / allowed);
  std::vector<Size> sizes;
  do {
    const store::BundleRecord& next = fetched_.Next();
    const bool may_share = MayShare(next);
    sizes.push_back({next.entries, next.body.size()});
    if (!share.empty() && (!may_share || Fitting(style(), sizes) < sizes.size())) break;
    share.push_back(fetched_.Take());
    if (!may_share) break;
  } while (!fetched_.empty() && share.size() < most);
}

/// How many bundles we could take now.
std::size_t Engine::Wanted(Time now) const {
  const std::size_t allowed = Allowed(now);
  const std::size_t most = health_.is_well() ? allowed * (1 + kAheadPerSender) : allowed;
  const std::size_t have = fetched_.size() + in_flight_;
  return most > have ? most - have : 0;
}

/// Whether something was claimed, or is being claimed, to go out as style() says.
bool Engine::IsOut() const {
  return active_ > 0 || !fetched_.empty() || (is_visiting_ && visit_wanted_ > 0);
}

Visit::Holding Engine::HoldingNow() const {
  return {IsOut() ? std::optional(style().identity) : writing_.in_use()};
}

/// Whether a sender would stand idle, or enough has gathered, or the end is near.
bool Engine::IsUrgent(std::size_t wanted) const {
  if (settled_.size() >= kSettlementsMin || (is_draining_ && !settled_.empty())) return true;
  if (wanted == 0 || !fetched_.empty()) return false;
  return more_ || !settled_.empty();
}

void Engine::DecideVisit(const Times& now, Orders& orders) {
  if (is_visiting_ || rest_until_) return;
  const std::size_t wanted = Wanted(now.steady);
  const bool is_needed = !settled_.empty() || (more_ && wanted > 0);
  if (!IsUrgent(wanted) && !(is_needed && is_gathered_)) {
    is_gathered_ = false;
    if (!is_needed || is_gathering_) return;
    is_gathering_ = true;
    orders.gather = kGatherTime;
    return;
  }
  is_visiting_ = true;
  visit_wanted_ = wanted;
  is_gathering_ = false;
  is_gathered_ = false;
  if (wanted > 0) more_ = false;  // until somebody says so again
  Visit& visit = orders.visit.emplace();
  visit.settlements.swap(settled_);
  visit.wanted = wanted;
  visit.now = Unset(now);
  visit_holding_ = HoldingNow();
  if (visit_holding_ != kept_holding_) visit.holding = visit_holding_;
  // What waited when the last process ended waits by a clock that may have been set meanwhile.
  if (!has_visited_) visit.waits_end_by = visit.now + backoff_.most;
}

std::optional<Engine::Time> Engine::NextBell(Time now) const {
  std::optional<Time> bell;
  const auto consider = [&bell](std::optional<Time> time) {
    if (time && (!bell || *time < *bell)) bell = time;
  };
  consider(ready_at_);
  consider(rest_until_);
  consider(cut_off_at_);
  if (is_draining_) return bell;
  const bool is_paused = health_.Allowed(now) == 0;
  consider(is_paused ? health_.paused_until() : writing_.due_at());
  return bell;
}

Progress Engine::progress() const {
  Progress progress = progress_;
  progress.in_flight = active_;
  progress.writes = style().why;
  progress.holds = writing_.in_use();
  progress.entries_max = style().entries_max;
  progress.paused_until = health_.paused_until();
  return progress;
}

void Engine::Note(const Verdict& verdict) {
  switch (verdict.course) {
    case Course::kDone:
      ++progress_.completed;
      break;
    case Course::kHold:
      ++progress_.refused;
      break;
    case Course::kAgain:
      ++progress_.again;
      break;
    case Course::kPause:
      ++progress_.again;
      ++progress_.paused;
      break;
    case Course::kWait:
      ++progress_.again;
      ++progress_.unknown;
      break;
  }
  progress_.last_failure = verdict.why;
}

}  // namespace dwell::delivery
