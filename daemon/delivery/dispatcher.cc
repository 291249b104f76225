#include "daemon/delivery/dispatcher.h"

#include <algorithm>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/post.hpp>
#include <utility>

#include "daemon/base/log.h"

namespace dwell::delivery {
namespace asio = boost::asio;

using std::chrono::milliseconds;

static log::Literal LogName(Interaction interaction) {
  switch (interaction) {
    case Interaction::kTransaction:
      return "transaction";
    case Interaction::kBatch:
      return "batch";
    case Interaction::kSingle:
      return "single";
  }
  return "?";
}

static log::Literal LogName(Identity identity) {
  if (identity == Identity::kUpdateAsCreate) return "update-as-create";
  return "conditional-update";
}

Dispatcher::Dispatcher(asio::io_context& loop, store::Writer& writer, const base::Clock& clock,
                       Route route, const Endpoint& endpoint, Means means)
    : loop_(loop),
      writer_(writer),
      clock_(clock),
      endpoint_(route.number),
      means_(std::move(means)),
      engine_({.in_flight_max = endpoint.in_flight_max,
               .backoff = means_.backoff,
               .pins = endpoint.pins,
               .release = endpoint.release,
               .reads_statement = true,
               .in_use = endpoint.in_use}),
      courier_(route.target, route.attempt_time_max,
               MakeCredentials(loop.get_executor(), route, clock, means_),
               Resolver(loop.get_executor(),
                        {route.looked_up, route.cached_for, route.target, route.attempt_time_max},
                        clock, means_.steady),
               clock, means_.steady),
      senders_(endpoint.in_flight_max),
      timer_(loop),
      gather_(loop),
      work_(asio::make_work_guard(loop)) {
  for (Sender& sender : senders_) {
    sender.client = std::make_unique<net::HttpClient>(route.origin, route.tls);
  }
  asker_.client = std::make_unique<net::HttpClient>(route.origin, route.tls);
  Publish();
}

void Dispatcher::Wake() {
  engine_.News();
  Follow();
}

void Dispatcher::Drain(milliseconds time_max) {
  engine_.Drain(Now(), time_max);
  if (asker_.client) asker_.client->Close();  // nobody needs the statement any more
  Follow();
}

Progress Dispatcher::progress() const {
  const std::scoped_lock lock(progress_mutex_);
  return progress_;
}

Times Dispatcher::Now() const { return {clock_.Now(), means_.steady()}; }

void Dispatcher::Follow() {
  Orders orders = engine_.Decide(Now());
  if (orders.visit) Post(std::move(*orders.visit));
  if (orders.gather) Gather(*orders.gather);
  if (orders.bell) SetBell(*orders.bell);
  for (Sending& sending : orders.sendings) Start(std::move(sending));
  if (orders.read_statement) asio::co_spawn(loop_, ReadStatement(), asio::detached);
  if (orders.cut_off) CutOff();
  if (orders.finished) Finish();
}

void Dispatcher::Start(Sending sending) {
  Sender& sender = senders_[sending.sender];
  sender.sending = std::move(sending);
  if (sender.is_running) return;  // it comes by itself
  sender.is_running = true;
  asio::co_spawn(loop_, Run(sender), asio::detached);
}

asio::awaitable<void> Dispatcher::Run(Sender& sender) {
  while (sender.sending) {
    Sending sending = std::move(*sender.sending);
    sender.sending.reset();
    const Outcome outcome = co_await courier_.Carry(sender, sending);
    const std::size_t entries_max = engine_.style().entries_max;
    engine_.Ended(sending, outcome, Now(), means_.random());
    if (engine_.style().entries_max < entries_max) {
      log::Write(log::Level::kInfo, "endpoint-limit-learned",
                 {{"entries_max", engine_.style().entries_max}});
    }
    Publish();
    Follow();
  }
  sender.is_running = false;
}

asio::awaitable<void> Dispatcher::ReadStatement() {
  const Statement statement = co_await courier_.ReadStatement(asker_);
  asker_.client->Close();
  const WriteStyle before = engine_.style();
  engine_.Told(statement, Now());
  const WriteStyle& style = engine_.style();
  if (style.interaction != before.interaction || style.identity != before.identity) {
    log::Write(log::Level::kInfo, "endpoint-style",
               {{"writes", style.interaction}, {"identity", style.identity}});
  }
  if (style.is_doubted && !before.is_doubted) {
    log::Write(log::Level::kWarning, "endpoint-identity-in-use-is-not-taken",
               {{"endpoint", endpoint_},
                {"identity", style.identity},
                {"to_do", "it stays; see dwell check --endpoint"}});
  }
  Publish();
  Follow();
}

void Dispatcher::Post(Visit visit) {
  gather_.cancel();
  auto errand = std::make_shared<Errand>();
  errand->visit = std::move(visit);
  errand->endpoint = endpoint_;
  store::Job job;
  job.goes_first = true;
  job.work = [errand](store::Store& store) { return errand->Run(store); };
  job.done = [this, errand](const Result<void>& done) {
    asio::post(loop_, [this, errand, ok = done.has_value()] { Committed(*errand, ok); });
  };
  writer_.Post(std::move(job));
}

void Dispatcher::Committed(Errand& errand, bool ok) {
  if (ok) {
    engine_.Visited(std::move(errand.claimed), errand.next_ready, Now());
  } else {
    engine_.VisitFailed(std::move(errand.visit), Now());
  }
  Follow();
}

/// A bell that rings too early does no harm, so one that is set is left alone for a later one.
void Dispatcher::SetBell(Engine::Time bell) {
  if (bell_ && *bell_ <= bell) return;
  bell_ = bell;
  timer_.expires_after(std::max(Engine::Time::duration::zero(), bell - means_.steady()));
  timer_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    bell_.reset();
    Follow();
  });
}

void Dispatcher::Gather(milliseconds time) {
  gather_.expires_after(time);
  gather_.async_wait([this](const boost::system::error_code& error) {
    if (error) return;
    engine_.Gathered();
    Follow();
  });
}

void Dispatcher::CutOff() {
  courier_.CutOff();
  if (asker_.client) asker_.client->Close();
  for (Sender& sender : senders_) {
    if (sender.is_running) sender.client->Close();
  }
}

void Dispatcher::Finish() {
  timer_.cancel();
  gather_.cancel();
  courier_.CutOff();                                      // a token asked for in advance
  for (Sender& sender : senders_) sender.client.reset();  // idle connections keep the loop alive
  asker_.client.reset();
  work_.reset();
}

void Dispatcher::Publish() {
  Progress progress = engine_.progress();
  progress.clock_ahead = courier_.clock_ahead();
  const std::scoped_lock lock(progress_mutex_);
  progress_ = std::move(progress);
}

}  // namespace dwell::delivery
