#include "daemon/delivery/dispatcher.h"

#include <algorithm>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/post.hpp>
#include <iterator>

#include "daemon/delivery/settle.h"

namespace dwell::delivery {
namespace asio = boost::asio;
namespace {

using std::chrono::milliseconds;

/// Bundles claimed ahead for each one in flight, so that the senders have work while the disk
/// syncs.
constexpr std::size_t kAheadPerSender = 32;
/// So many settlements are told to the store at once; fewer wait for company a moment.
constexpr std::size_t kSettlementsMin = 32;
constexpr milliseconds kGatherTime{3};
/// Wall clocks jump: the next ready time is looked at again after this at the latest.
constexpr milliseconds kLookAgain{30'000};
/// After the store could not commit (no space).
constexpr milliseconds kStoreAgain{1'000};

}  // namespace

/// One visit to the store: settles, then claims, then asks when to come again.
struct Dispatcher::Batch {
  std::vector<store::Settlement> settlements;
  std::size_t wanted = 0;
  Instant now{};
  std::vector<store::BundleRecord> claimed;
  std::optional<Instant> next_ready;

  Result<void> Work(store::Store& store) {
    for (const store::Settlement& settlement : settlements) {
      if (auto done = store.Settle(settlement); !done) return done;
    }
    if (wanted > 0) {
      auto claims = store.Claim(now, wanted);
      if (!claims) return claims.error();
      claimed = std::move(*claims);
    }
    auto next = store.NextReady();
    if (!next) return next.error();
    next_ready = *next;
    return {};
  }
};

Dispatcher::Dispatcher(asio::io_context& loop, store::Writer& writer, const base::Clock& clock,
                       Route route, std::size_t in_flight_max, Means means)
    : loop_(loop),
      writer_(writer),
      clock_(clock),
      means_(std::move(means)),
      health_(in_flight_max, means_.backoff),
      courier_(route.target, route.attempt_time_max,
               MakeCredentials(loop.get_executor(), route, clock, means_),
               Resolver(loop.get_executor(),
                        {route.looked_up, route.cached_for, route.target, route.attempt_time_max},
                        clock, means_.steady),
               clock, means_.steady, [this](const Verdict& verdict) { Weigh(verdict); }),
      senders_(in_flight_max),
      gather_(loop),
      ready_(loop),
      pause_(loop),
      drain_(loop),
      rest_(loop),
      work_(asio::make_work_guard(loop)) {
  for (Sender& sender : senders_) {
    sender.client = std::make_unique<net::HttpClient>(route.origin, route.tls);
  }
}

Progress Dispatcher::progress() const {
  const std::scoped_lock lock(progress_mutex_);
  return progress_;
}

void Dispatcher::Step(bool news) {
  more_ = more_ || news;
  StartSenders();
  const std::size_t wanted = Wanted();
  const bool is_free = !batch_out_ && (!store_rests_ || draining_);
  if (is_free && IsUrgent(wanted)) {
    PostBatch(wanted);
  } else if (is_free && !gathering_ && (!settled_.empty() || (more_ && wanted > 0))) {
    gathering_ = true;
    gather_.expires_after(kGatherTime);
    gather_.async_wait([this](const boost::system::error_code& error) {
      gathering_ = false;
      const bool is_needed = !settled_.empty() || more_;
      if (!error && !batch_out_ && is_needed) PostBatch(Wanted());
    });
  }
  if (draining_) FinishWhenDone();
}

/// How many bundles we could take now.
std::size_t Dispatcher::Wanted() const {
  if (draining_) return 0;
  const std::size_t allowed = health_.Allowed(means_.steady());
  const std::size_t most = health_.is_well() ? allowed * (1 + kAheadPerSender) : allowed;
  const std::size_t have = fetched_.size() + active_;
  return most > have ? most - have : 0;
}

/// Whether a sender would stand idle, or enough has gathered, or the end is near.
bool Dispatcher::IsUrgent(std::size_t wanted) const {
  if (settled_.size() >= kSettlementsMin || (draining_ && !settled_.empty())) return true;
  if (wanted == 0 || !fetched_.empty()) return false;
  return more_ || !settled_.empty();
}

void Dispatcher::StartSenders() {
  const std::size_t allowed = draining_ ? 0 : health_.Allowed(means_.steady());
  if (allowed == 0) GiveBackFetched();
  for (Sender& sender : senders_) {
    if (fetched_.empty() || active_ >= allowed) break;
    if (sender.busy) continue;
    sender.busy = true;
    ++active_;
    asio::co_spawn(loop_, Run(sender), asio::detached);
  }
}

void Dispatcher::GiveBackFetched() {
  const Instant now = clock_.Now();
  for (const store::BundleRecord& bundle : fetched_) settled_.push_back(GiveBack(bundle, now));
  fetched_.clear();
}

asio::awaitable<void> Dispatcher::Run(Sender& sender) {
  while (!fetched_.empty() && !draining_ && active_ <= health_.Allowed(means_.steady())) {
    store::BundleRecord bundle = std::move(fetched_.front());
    fetched_.pop_front();
    const Verdict verdict = co_await courier_.Carry(sender, bundle);
    const milliseconds wait = WaitOf(verdict, bundle);
    const auto pause =
        std::chrono::duration_cast<milliseconds>(health_.paused_until() - means_.steady());
    settled_.push_back(
        Settle(bundle, verdict, clock_.Now(), wait, std::max(milliseconds(0), pause)));
    Note(verdict);
    Step(false);
  }
  sender.busy = false;
  --active_;
  Step(false);
}

/// What an answer says of the endpoint as a whole.
void Dispatcher::Weigh(const Verdict& verdict) {
  const auto now = means_.steady();
  if (verdict.pauses) {
    health_.Down(now, verdict.retry_after, means_.random());
  } else if (verdict.course == Course::kAgain) {
    health_.Strained(now, means_.random());
  } else {
    health_.Succeeded();  // also a refusal shows that it works
  }
  if (health_.Allowed(now) == 0) {
    RingAfter(pause_, std::chrono::ceil<milliseconds>(health_.paused_until() - now));
  }
}

milliseconds Dispatcher::WaitOf(const Verdict& verdict, const store::BundleRecord& bundle) {
  if (verdict.retry_after) return *verdict.retry_after;
  if (verdict.course == Course::kWait) {
    return WaitAtAge(means_.backoff, courier_.Describe(bundle).age, means_.random());
  }
  return WaitAfter(means_.backoff, bundle.attempts + 1, means_.random());
}

void Dispatcher::Note(const Verdict& verdict) {
  const std::scoped_lock lock(progress_mutex_);
  progress_.in_flight = active_ - 1;
  switch (verdict.course) {
    case Course::kDone:
      ++progress_.completed;
      break;
    case Course::kHold:
      ++progress_.refused;
      break;
    case Course::kAgain:
    case Course::kPause:
    case Course::kWait:
      ++progress_.again;
      break;
  }
  progress_.last_failure = verdict.why;
  progress_.clock_ahead = courier_.clock_ahead();
}

void Dispatcher::PostBatch(std::size_t wanted) {
  batch_out_ = true;
  if (wanted > 0) more_ = false;  // until somebody says so again
  gather_.cancel();
  auto batch = std::make_shared<Batch>();
  batch->settlements.swap(settled_);
  batch->wanted = wanted;
  batch->now = clock_.Now();
  store::Job job;
  job.goes_first = true;
  job.work = [batch](store::Store& store) {
    batch->claimed.clear();
    return batch->Work(store);
  };
  job.done = [this, batch](const Result<void>& done) {
    asio::post(loop_, [this, batch, ok = done.has_value()] { Committed(*batch, ok); });
  };
  writer_.Post(std::move(job));
}

void Dispatcher::Committed(Batch& batch, bool ok) {
  batch_out_ = false;
  if (!ok) {
    // Nothing of it happened. When we must end, these stay in-progress: uncertain at the next
    // start.
    if (!draining_) {
      settled_.insert(settled_.begin(), batch.settlements.begin(), batch.settlements.end());
      store_rests_ = true;
      rest_.expires_after(kStoreAgain);
      rest_.async_wait([this](const boost::system::error_code& error) {
        store_rests_ = false;
        if (!error) Step(true);
      });
    }
    return Step(false);
  }
  if (batch.wanted > 0 && batch.claimed.size() == batch.wanted) more_ = true;
  std::move(batch.claimed.begin(), batch.claimed.end(), std::back_inserter(fetched_));
  WaitUntilReady(batch.next_ready);
  Step(false);
}

void Dispatcher::WaitUntilReady(std::optional<Instant> next_ready) {
  if (!next_ready || draining_) return;
  const milliseconds wait = *next_ready - clock_.Now();
  if (wait <= milliseconds(0)) {  // became ready since the batch took its time
    more_ = true;
    return;
  }
  RingAfter(ready_, std::min(wait, kLookAgain));
}

void Dispatcher::RingAfter(asio::steady_timer& timer, milliseconds wait) {
  timer.expires_after(wait);
  timer.async_wait([this](const boost::system::error_code& error) {
    if (!error) Step(true);
  });
}

void Dispatcher::Drain(milliseconds time_max) {
  draining_ = true;
  drain_.expires_after(time_max);
  drain_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    courier_.CutOff();
    for (Sender& sender : senders_) {
      if (sender.busy) sender.client->Close();
    }
  });
  Step(false);
}

void Dispatcher::FinishWhenDone() {
  if (!draining_ || active_ > 0 || batch_out_ || !settled_.empty()) return;
  drain_.cancel();
  ready_.cancel();
  pause_.cancel();
  gather_.cancel();
  rest_.cancel();
  courier_.CutOff();                                      // a token asked for in advance
  for (Sender& sender : senders_) sender.client.reset();  // idle connections keep the loop alive
  work_.reset();
}

}  // namespace dwell::delivery
