#include "daemon/reconcile/reconciler.h"

#include <algorithm>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <map>
#include <mutex>
#include <random>
#include <thread>

#include "daemon/base/log.h"
#include "daemon/base/thread_name.h"
#include "daemon/net/await.h"
#include "daemon/reconcile/reader.h"

namespace dwell::reconcile {
namespace asio = boost::asio;
namespace {

constexpr auto kAwait = asio::as_tuple(asio::use_awaitable);

delivery::Means Complete(delivery::Means means) {
  if (!means.random) {
    means.random = [engine = std::mt19937_64(std::random_device()())]() mutable {
      return engine();
    };
  }
  if (!means.steady) means.steady = [] { return std::chrono::steady_clock::now(); };
  return means;
}

/// Counts only.
void Log(const Run& run) {
  const Tally& tally = run.tally;
  const auto level = tally.findings() == 0 ? log::Level::kInfo : log::Level::kWarning;
  const auto number = [](std::size_t count) { return static_cast<std::int64_t>(count); };
  log::Write(level, "reconciled",
             {{"lines", number(tally.lines)},
              {"compared", number(tally.compared)},
              {"wrong_patient", number(tally.wrong_patient)},
              {"missing", number(tally.missing)},
              {"differs", number(tally.differs)},
              {"changed_since", number(tally.changed_since)},
              {"unreadable", number(tally.unreadable)},
              {"not_kept", number(tally.not_kept)},
              {"sent", number(tally.sent)}});
}

class RunningReconciler final : public Reconciler {
 public:
  RunningReconciler(ledger::Ledger& ledger, const base::Clock& clock, delivery::Route route,
                    const delivery::Endpoint& endpoint, Schedule schedule, delivery::Means means)
      : ledger_(ledger),
        clock_(clock),
        schedule_(schedule),
        next_at_(clock.Now() +
                 std::min<std::chrono::minutes>(schedule.every, limits::kFirstReconciliation)),
        work_(asio::make_work_guard(loop_)),
        look_(loop_),
        reader_(loop_, std::move(route), endpoint.url,
                std::min(endpoint.in_flight_max, limits::kReadsInFlightMax), clock,
                std::move(means)),
        thread_([this] {
          base::NameThread("reconcile");
          if (schedule_.every.count() > 0) asio::co_spawn(loop_, Watch(), asio::detached);
          loop_.run();
        }) {}
  ~RunningReconciler() override { Stop(); }

  std::shared_ptr<Run> Begin(Order order) override {
    const std::scoped_lock lock(mutex_);
    if (!current_.expired()) return nullptr;
    auto run = std::make_shared<Run>(std::move(order));
    run->began = clock_.Now();
    current_ = run;
    return run;
  }

  void Next(std::shared_ptr<Run> run, std::function<void(Step)> done) override {
    asio::post(loop_, [this, run = std::move(run), done = std::move(done)]() mutable {
      asio::co_spawn(loop_, Tell(std::move(run), std::move(done)), asio::detached);
    });
  }

  std::optional<LastRun> last() const override {
    const std::scoped_lock lock(mutex_);
    return last_;
  }

  void Wake() override {
    asio::post(loop_, [this] { look_.cancel(); });
  }

  void Stop() override {
    if (!thread_.joinable()) return;
    asio::post(loop_, [this] {
      stopping_ = true;
      look_.cancel();
      reader_.Close();
      work_.reset();
    });
    thread_.join();
  }

 private:
  asio::awaitable<void> Tell(std::shared_ptr<Run> run, std::function<void(Step)> done) {
    Step step = co_await Carry(*run);
    run.reset();  // whoever hears that it is through may begin another
    done(std::move(step));
  }

  asio::awaitable<Step> Carry(Run& run) {
    Step step;
    if (run.items.empty() && run.more) co_await NextPage(run, step);
    if (step.refusal.empty() && !run.items.empty()) co_await reader_.Work(run, step);
    if (stopping_) step.refusal = "the daemon stops";
    if (step.refusal.empty() && run.items.empty()) {
      if (run.order.send) co_await Send(run, step);
      step.done = !run.more && step.refusal.empty();
    }
    step.tally = run.tally;
    if (step.done) Finish(run);
    co_return step;
  }

  asio::awaitable<void> NextPage(Run& run, Step& step) {
    using Pages = std::function<void(Result<ledger::AcceptedPage>)>;
    std::function<void(const Pages&)> ask = [this, &run](const Pages& done) {
      ledger_.ListAccepted(run.order.accepted, done);
    };
    Result<ledger::AcceptedPage> page =
        co_await net::Await<Result<ledger::AcceptedPage>>(std::move(ask));
    if (!page) {
      step.refusal = page.error().message();
      co_return;
    }
    run.more = page->more;
    run.order.accepted.after = page->after;
    run.tally.looked_at += page->looked_at;
    run.tally.of = page->of;
    for (ledger::AcceptedLine& line : page->lines) Take(run, step, std::move(line));
  }

  static void Take(Run& run, Step& step, ledger::AcceptedLine line) {
    ++run.tally.lines;
    run.tally.on_its_way += line.on_its_way;
    run.tally.given_up += line.given_up;
    run.tally.not_kept += line.not_kept;
    if (!line.trouble.empty()) {
      ++run.tally.troubles;
      step.troubles.push_back({line.key, line.trouble});
    }
    for (ledger::Accepted& accepted : line.resources) {
      Item& item = run.items.emplace_back();
      item.line_seq = line.line_seq;
      item.key = line.key;
      item.ward = line.ward;
      item.sent = std::move(accepted);
    }
  }

  /// What was found of the page goes out again.
  asio::awaitable<void> Send(Run& run, Step& step) {
    if (run.to_send.empty()) co_return;
    ledger::AgainOrder order;
    order.by = run.order.by;
    order.why = run.order.why;
    std::map<std::int64_t, line::Key> keys;
    std::ranges::stable_sort(run.to_send, {}, &Finding::line_seq);
    for (const Finding& finding : run.to_send) {
      if (keys.emplace(finding.line_seq, finding.key).second) {
        order.lines.emplace_back().line_seq = finding.line_seq;
      }
      order.lines.back().resources.push_back({finding.type + "/" + finding.id, finding.bundle_seq});
    }
    run.to_send.clear();
    using Dones = std::function<void(Result<ledger::AgainDone>)>;
    std::function<void(const Dones&)> ask = [this, &order](const Dones& done) {
      ledger_.SendAgain(order, done);
    };
    const Result<ledger::AgainDone> done =
        co_await net::Await<Result<ledger::AgainDone>>(std::move(ask));
    if (!done) {
      step.refusal = done.error().message();
      co_return;
    }
    for (const ledger::AgainDone::Line& line : done->lines) {
      run.tally.sent += line.resources;
      run.tally.deliveries += line.bundle_seqs.size();
      step.sent.push_back(
          {keys.at(line.line_seq), line.bundle_seqs, line.resources, line.left_out});
    }
    step.refusal = done->refusal;
  }

  void Finish(const Run& run) {
    Log(run);
    if (!run.order.is_whole()) return;
    const std::scoped_lock lock(mutex_);
    last_ = LastRun{run.began, clock_.Now(), run.order.accepted.since, run.tally};
  }

  // --- On a schedule ----------------------------------------------------------------------------

  asio::awaitable<void> Watch() {
    while (!stopping_) {
      const Instant now = clock_.Now();
      const bool was_set_back = now + schedule_.every < next_at_;
      if (now >= next_at_ || was_set_back) co_await RunBySchedule();
      if (stopping_) break;
      look_.expires_after(limits::kReadStepTime);
      co_await look_.async_wait(kAwait);
    }
  }

  asio::awaitable<void> RunBySchedule() {
    Order order;
    const Instant now = clock_.Now();
    order.accepted.since = now - schedule_.look_back;
    order.send = schedule_.send;
    order.by = "dwelld";
    order.why = "reconcile.send is set";
    const std::shared_ptr<Run> run = Begin(std::move(order));
    if (run == nullptr) co_return;  // somebody's own; this one when it is through
    next_at_ = now + schedule_.every;
    while (!stopping_) {
      const Step step = co_await Carry(*run);
      if (step.done) break;
      if (step.refusal.empty()) continue;
      log::Write(log::Level::kWarning, "reconciliation-stopped");
      break;
    }
  }

  ledger::Ledger& ledger_;
  const base::Clock& clock_;
  const Schedule schedule_;
  Instant next_at_{};
  asio::io_context loop_{1};
  asio::executor_work_guard<asio::io_context::executor_type> work_;
  asio::steady_timer look_;
  Reader reader_;
  bool stopping_ = false;
  mutable std::mutex mutex_;
  std::weak_ptr<Run> current_;   // guarded by mutex_
  std::optional<LastRun> last_;  // guarded by mutex_
  std::thread thread_;           // last: it uses all of the above
};

}  // namespace

Result<std::unique_ptr<Reconciler>> Reconciler::Start(ledger::Ledger& ledger,
                                                      const base::Clock& clock,
                                                      const delivery::Endpoint& endpoint,
                                                      Schedule schedule, delivery::Means means) {
  Result<delivery::Route> route = delivery::PrepareRoute(endpoint);
  if (!route) return route.error();
  return std::unique_ptr<Reconciler>(std::make_unique<RunningReconciler>(
      ledger, clock, std::move(*route), endpoint, schedule, Complete(std::move(means))));
}

}  // namespace dwell::reconcile
