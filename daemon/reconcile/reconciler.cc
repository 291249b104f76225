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
#include <utility>

#include "daemon/base/log.h"
#include "daemon/base/thread_name.h"
#include "daemon/net/await.h"
#include "daemon/reconcile/reader.h"
#include "schemas/base/check.h"

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
  const std::int64_t endpoint = run.order.accepted.endpoint;
  const Tally& tally = run.tally;
  const auto level = tally.findings() == 0 ? log::Level::kInfo : log::Level::kWarning;
  const auto number = [](std::size_t count) { return static_cast<std::int64_t>(count); };
  log::Write(level, "reconciled",
             {{"endpoint", endpoint},
              {"lines", number(tally.lines)},
              {"compared", number(tally.compared)},
              {"wrong_patient", number(tally.wrong_patient)},
              {"doubled", number(tally.doubled)},
              {"missing", number(tally.missing)},
              {"differs", number(tally.differs)},
              {"changed_since", number(tally.changed_since)},
              {"unreadable", number(tally.unreadable)},
              {"forbidden", number(tally.forbidden)},
              {"not_kept", number(tally.not_kept)},
              {"sent", number(tally.sent)}});
}

class RunningReconciler final : public Reconciler {
 public:
  RunningReconciler(ledger::Ledger& ledger, const base::Clock& clock,
                    std::vector<delivery::Route> routes, std::vector<Target> targets,
                    Schedule schedule, const delivery::Means& means)
      : ledger_(ledger),
        clock_(clock),
        schedule_(schedule),
        next_at_(clock.Now() +
                 std::min<std::chrono::minutes>(schedule.every, limits::kFirstReconciliation)),
        work_(asio::make_work_guard(loop_)),
        look_(loop_),
        steady_(means.steady),
        targets_(std::move(targets)),
        last_(targets_.size()) {
    for (std::size_t i = 0; i < targets_.size(); ++i) {
      readers_.push_back(std::make_unique<Reader>(loop_, std::move(routes[i]), targets_[i].endpoint,
                                                  targets_[i].progress, clock, means));
    }
    thread_ = std::thread([this] {
      base::NameThread("reconcile");
      if (schedule_.every.count() > 0) asio::co_spawn(loop_, Watch(), asio::detached);
      loop_.run();
    });
  }
  ~RunningReconciler() override { Stop(); }

  std::vector<std::string> endpoints() const override {
    std::vector<std::string> names;
    for (const Target& target : targets_) names.push_back(target.name);
    return names;
  }

  std::shared_ptr<Run> Begin(Order order) override {
    order.accepted.endpoint = targets_[IndexOf(order)].endpoint.number;
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

  std::vector<LastRun> last() const override {
    const std::scoped_lock lock(mutex_);
    std::vector<LastRun> runs;
    for (const std::optional<LastRun>& one : last_) {
      if (one) runs.push_back(*one);
    }
    return runs;
  }

  void Wake() override {
    asio::post(loop_, [this] { look_.cancel(); });
  }

  void Stop() override {
    if (!thread_.joinable()) return;
    asio::post(loop_, [this] {
      stopping_ = true;
      look_.cancel();
      for (const auto& reader : readers_) reader->Close();
      work_.reset();
    });
    thread_.join();
  }

 private:
  std::size_t IndexOf(const Order& order) const {
    const auto target = std::ranges::find(targets_, order.endpoint, &Target::name);
    CHECK(target != targets_.end());
    return static_cast<std::size_t>(target - targets_.begin());
  }

  asio::awaitable<void> Tell(std::shared_ptr<Run> run, std::function<void(Step)> done) {
    Step step = co_await Carry(*run);
    run.reset();  // whoever hears that it is through may begin another
    done(std::move(step));
  }

  asio::awaitable<Step> Carry(Run& run) {
    Step step;
    if (run.items.empty() && run.more) co_await NextPage(run, step);
    if (step.refusal.empty() && !run.items.empty())
      co_await readers_[IndexOf(run.order)]->Work(run, step);
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
    if (!line.never_sent.empty()) {
      run.tally.never_sent += line.never_sent.size();
      if (run.order.send) run.to_send[line.line_seq] = {line.key, std::move(line.never_sent)};
    }
    for (ledger::Accepted& accepted : line.resources) {
      Item& item = run.items.emplace_back();
      item.line_seq = line.line_seq;
      item.key = line.key;
      item.ward = line.ward;
      item.sent = std::move(accepted);
    }
  }

  /// What was found of the page goes out again, and what was never sent for the first time.
  asio::awaitable<void> Send(Run& run, Step& step) {
    const std::map<std::int64_t, ToSend> lines = std::exchange(run.to_send, {});
    if (lines.empty()) co_return;
    ledger::AgainOrder order;
    order.endpoint = run.order.accepted.endpoint;
    order.by = run.order.by;
    order.why = run.order.why;
    for (const auto& [seq, line] : lines) order.lines.push_back({seq, line.resources});
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
          {lines.at(line.line_seq).key, line.bundle_seqs, line.resources, line.left_out});
    }
    step.refusal = done->refusal;
  }

  void Finish(const Run& run) {
    Log(run);
    if (!run.order.is_whole()) return;
    const std::scoped_lock lock(mutex_);
    last_[IndexOf(run.order)] =
        LastRun{run.order.endpoint, run.began, clock_.Now(), run.order.accepted.since, run.tally};
  }

  // --- On a schedule ----------------------------------------------------------------------------

  asio::awaitable<void> Watch() {
    while (!stopping_) {
      const Instant now = clock_.Now();
      const bool was_set_back = now + schedule_.every < next_at_;
      if (turn_ > 0 || now >= next_at_ || was_set_back) co_await RunBySchedule();
      if (stopping_) break;
      look_.expires_after(limits::kReadStepTime);
      co_await look_.async_wait(kAwait);
    }
  }

  asio::awaitable<void> RunBySchedule() {
    for (; turn_ < targets_.size() && !stopping_; ++turn_) {
      Order order;
      const Instant now = clock_.Now();
      order.endpoint = targets_[turn_].name;
      order.accepted.since = now - schedule_.look_back;
      order.send = schedule_.send;
      order.by = "dwelld";
      order.why = "reconcile.send is set";
      const std::shared_ptr<Run> run = Begin(std::move(order));
      if (run == nullptr) co_return;  // somebody's own; this one when it is through
      if (turn_ == 0) next_at_ = now + schedule_.every;
      co_await CarryThrough(run);
    }
    turn_ = 0;
  }

  /// To its end, or as long as the others may be kept waiting.
  asio::awaitable<void> CarryThrough(std::shared_ptr<Run> run) {
    auto last_went_on = steady_();
    while (!stopping_) {
      const Step step = co_await Carry(*run);
      if (step.done) co_return;
      if (step.waiting.empty()) last_went_on = steady_();
      const bool waits_too_long =
          targets_.size() > 1 && steady_() - last_went_on > limits::kReconcileWaitMax;
      if (step.refusal.empty() && !waits_too_long) continue;
      log::Write(log::Level::kWarning, "reconciliation-stopped",
                 {{"endpoint", run->order.accepted.endpoint}});
      co_return;
    }
  }

  ledger::Ledger& ledger_;
  const base::Clock& clock_;
  const Schedule schedule_;
  Instant next_at_{};
  asio::io_context loop_{1};
  asio::executor_work_guard<asio::io_context::executor_type> work_;
  asio::steady_timer look_;
  std::function<std::chrono::steady_clock::time_point()> steady_;
  const std::vector<Target> targets_;
  std::vector<std::unique_ptr<Reader>> readers_;  ///< one for each
  std::size_t turn_ = 0;                          ///< whose it is, on a schedule
  bool stopping_ = false;
  mutable std::mutex mutex_;
  std::weak_ptr<Run> current_;                // guarded by mutex_
  std::vector<std::optional<LastRun>> last_;  // of each target; guarded by mutex_
  std::thread thread_;                        // last: it uses all of the above
};

}  // namespace

Result<std::unique_ptr<Reconciler>> Reconciler::Start(ledger::Ledger& ledger,
                                                      const base::Clock& clock,
                                                      std::vector<Target> targets,
                                                      Schedule schedule, delivery::Means means) {
  CHECK(!targets.empty());
  std::vector<delivery::Route> routes;
  for (const Target& target : targets) {
    Result<delivery::Route> route = delivery::PrepareRoute(target.endpoint);
    if (!route) return route.error();
    routes.push_back(std::move(*route));
  }
  return std::unique_ptr<Reconciler>(std::make_unique<RunningReconciler>(
      ledger, clock, std::move(routes), std::move(targets), schedule, Complete(std::move(means))));
}

}  // namespace dwell::reconcile
