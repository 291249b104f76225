#include "tests/sim/process.h"

#include <algorithm>
#include <utility>

#include "daemon/delivery/errand.h"
#include "daemon/delivery/settle.h"
#include "daemon/retention/retention.h"

namespace dwell::sim {
namespace {

using std::chrono::milliseconds;

// As daemon/store/writer.cc and daemon/alarm/alarm.h have it.
constexpr milliseconds kQuiet{500};
constexpr milliseconds kLookEvery{250};

delivery::Engine::Settings SettingsOf(std::optional<delivery::Identity> in_use) {
  delivery::Engine::Settings settings;
  settings.in_flight_max = Process::kInFlightMax;
  settings.reads_statement = true;
  settings.in_use = in_use;
  return settings;
}

}  // namespace

Result<std::unique_ptr<Process>> Process::Start(Outside& outside) {
  store::Options options;
  options.files = &outside.disk;
  options.free_bytes_min = 64 * limits::kKiB;
  auto store = store::Store::Open(kPath, options);
  if (!store) return store.error();
  const auto in_use = delivery::IdentityOf((*store)->endpoints().front().identity);
  return std::unique_ptr<Process>(new Process(outside, std::move(*store), in_use));
}

Process::Process(Outside& outside, std::unique_ptr<store::Store> store,
                 std::optional<delivery::Identity> in_use)
    : outside_(outside),
      committer_(std::move(store), [this](const Error& error) { stopped_ = error; }),
      ledger_(jobs_, outside.wall, outside.rules),
      pipeline_(ledger_, jobs_, *outside.rules.schemas),
      engine_(SettingsOf(in_use)),
      first_(Now()) {
  ledger_.OnNews([this] {
    engine_.News();
    must_decide_ = true;
    schedule_.News();
  });
  Decide();
}

void Process::CleanUp() {
  const Instant until = outside_.wall.Now() - kKeepDelivered;
  store::Job job;
  job.work = [this, until](store::Store& store) -> Result<void> {
    const auto step = retention::TakeStep(store, ledger_,
                                          {.bodies_until = until, .lines_until = {}, .after = {}});
    if (step.has_error()) return step.error();
    return {};
  };
  jobs_.Post(std::move(job));
}

std::optional<Steady> Process::NextTimer() {
  if (must_decide_) return outside_.steady;
  if (!jobs_.empty() && !batch_at_) {
    batch_at_ = outside_.steady + milliseconds(outside_.random.Between(0, 5));
  }
  std::optional<Steady> next = AlarmAt();
  const auto consider = [&next](std::optional<Steady> time) {
    if (time && (!next || *time < *next)) next = time;
  };
  consider(bell_);
  consider(gather_at_);
  consider(batch_at_);
  consider(quiet_at_);
  consider(told_at_);
  for (const InFlight& flight : in_flight_) consider(flight.at);
  return next;
}

void Process::RunTimers() {
  const Steady now = outside_.steady;
  for (std::size_t i = 0; i < in_flight_.size() && !is_dead();) {
    if (in_flight_[i].at > now) {
      ++i;
    } else if (!in_flight_[i].exchange) {
      Arrive(in_flight_[i++]);
    } else {
      InFlight flight = std::move(in_flight_[i]);
      in_flight_.erase(in_flight_.begin() + static_cast<std::ptrdiff_t>(i));
      Answer(std::move(flight));
    }
  }
  if (is_dead()) return;
  if (bell_ && *bell_ <= now) must_decide_ = true;
  if (gather_at_ && *gather_at_ <= now) {
    gather_at_.reset();
    engine_.Gathered();
    must_decide_ = true;
  }
  if (told_at_ && *told_at_ <= now) {
    told_at_.reset();
    engine_.Told(outside_.peer.Tell(), Now());
    must_decide_ = true;
  }
  if (must_decide_) Decide();
  if (batch_at_ && *batch_at_ <= now) CommitNow();
  if (quiet_at_ && *quiet_at_ <= now && !is_dead()) {
    quiet_at_.reset();
    committer_.Quiet();
  }
  if (!is_dead()) RunAlarm();
}

void Process::CommitNow() {
  batch_at_.reset();
  if (jobs_.empty() || is_dead()) return;
  committer_.Run(jobs_.Take());
  if (is_dead() || !jobs_.empty()) return;
  committer_.Idle();
  if (committer_.HasLog()) quiet_at_ = outside_.steady + kQuiet;
}

void Process::Finish() {
  engine_.Drain(Now(), milliseconds(0));
  must_decide_ = true;
  for (int i = 0; i < 10 && !is_dead(); ++i) {
    if (must_decide_) Decide();
    if (std::exchange(told_at_, std::nullopt)) engine_.Told({}, Now());  // is not waited for
    CommitNow();
  }
  committer_.Finish();
}

void Process::Decide() {
  must_decide_ = false;
  delivery::Orders orders = engine_.Decide(Now());
  bell_ = orders.bell;
  if (orders.gather) gather_at_ = outside_.steady + *orders.gather;
  for (delivery::Sending& sending : orders.sendings) Send(std::move(sending));
  if (orders.visit) Visit(std::move(*orders.visit));
  if (orders.read_statement) {
    told_at_ = outside_.steady + milliseconds(outside_.random.Between(1, 40));
  }
}

void Process::Visit(delivery::Visit visit) {
  if (outside_.findings.traces()) {
    outside_.findings.Trace("  visits the store: " + std::to_string(visit.settlements.size()) +
                            " settled, " + std::to_string(visit.wanted) + " wanted");
  }
  NoteWaits(visit);
  auto errand = std::make_shared<delivery::Errand>();
  errand->visit = std::move(visit);
  store::Job job;
  job.goes_first = true;
  job.work = [errand](store::Store& store) { return errand->Run(store); };
  job.done = [this, errand](const Result<void>& done) {
    must_decide_ = true;
    if (!done) return engine_.VisitFailed(std::move(errand->visit), Now());
    engine_.Visited(std::move(errand->claimed), errand->next_ready, Now());
  };
  jobs_.Post(std::move(job));
}

// I5, what the settlements ask for.
void Process::NoteWaits(const delivery::Visit& visit) {
  for (const store::Settlement& settlement : visit.settlements) {
    const auto ended = ended_.find(settlement.bundle_seq);
    if (ended == ended_.end()) continue;  // given back, not tried
    if (settlement.state == store::DeliveryState::kReady) {
      due_[settlement.bundle_seq] = first_.steady + (settlement.not_before - first_.wall);
    }
    ended_.erase(ended);
  }
}

void Process::Send(delivery::Sending sending) {
  ++outside_.attempts;
  for (const store::BundleRecord& bundle : sending.bundles) {
    const std::string name = "bundle " + std::to_string(bundle.seq);
    if (outside_.findings.traces()) {
      outside_.findings.Trace("  sends " + name + " of line " + std::to_string(bundle.line_seq));
    }
    const auto due = due_.find(bundle.seq);
    if (due != due_.end() && due->second > outside_.steady) {
      outside_.findings.Broken("I5 too early", name);
    }
    due_.erase(bundle.seq);
    for (const InFlight& other : in_flight_) {
      for (const store::BundleRecord& behind : other.sending.bundles) {
        if (behind.line_seq == bundle.line_seq) outside_.findings.Broken("one a lane", name);
      }
    }
  }
  if (paused_until_ && *paused_until_ > outside_.steady) {
    outside_.findings.Broken("I5 pause", "a request before the endpoint's own time");
  }
  const auto takes = milliseconds(outside_.random.Between(1, 40));
  in_flight_.push_back({std::move(sending), outside_.steady + takes, std::nullopt});
}

void Process::Arrive(InFlight& flight) {
  CHECK(flight.sending.bundles.size() == 1);
  flight.exchange = outside_.peer.Receive(flight.sending.bundles.front(),
                                          flight.sending.style.identity, outside_.wall_most);
  const bool times_out = flight.exchange->failure == net::Failure::kTimeOut;
  flight.at = outside_.steady + (times_out ? milliseconds(limits::kAttemptTimeMax)
                                           : milliseconds(outside_.random.Between(1, 40)));
}

void Process::Answer(InFlight flight) {
  const store::BundleRecord& bundle = flight.sending.bundles.front();
  delivery::Sent sent;
  sent.entries = bundle.entries;
  sent.attempts = bundle.attempts;
  sent.age = delivery::AgeOf(bundle, outside_.wall.Now());
  delivery::Outcome outcome;
  outcome.verdicts.push_back(delivery::Judge(*flight.exchange, sent, outside_.wall.Now()));
  outcome.sign = delivery::SignOf(outcome.verdicts.front());
  if (outside_.findings.traces()) {
    outside_.findings.Trace("  bundle " + std::to_string(bundle.seq) + ": " +
                            outcome.verdicts.front().why);
  }
  const std::string& why = outcome.verdicts.front().why;
  if (why.find(Peer::kSecret) != std::string::npos) outside_.findings.Broken("I8 secret", why);
  const auto asked = std::chrono::seconds(Peer::AskedSeconds(*flight.exchange));
  if (asked.count() > 0)
    paused_until_ = std::max(paused_until_.value_or(Steady{}), outside_.steady + asked);
  ended_.insert(bundle.seq);
  engine_.Ended(flight.sending, outcome, Now(), outside_.random.Next());
  must_decide_ = true;
}

// When the alarm looks at the clock next: it does so every kLookEvery, but only these looks matter.
std::optional<Steady> Process::AlarmAt() const {
  Steady at = outside_.steady;
  if (schedule_.again_at()) at = std::max(at, *schedule_.again_at());
  if (!schedule_.must_look()) {
    if (!schedule_.next()) return std::nullopt;
    at += std::max(milliseconds(0), milliseconds(*schedule_.next() - outside_.wall.Now()));
  }
  const auto since = std::chrono::duration_cast<milliseconds>(at.time_since_epoch());
  const auto looks = (since + kLookEvery - milliseconds(1)) / kLookEvery;
  const Steady look(kLookEvery * looks);
  return look > outside_.steady ? look : outside_.steady + kLookEvery;
}

void Process::RunAlarm() {
  if (outside_.steady.time_since_epoch() % kLookEvery != Steady::duration(0)) return;
  if (!schedule_.Begin(outside_.wall.Now(), outside_.steady)) return;
  outside_.findings.Trace("  the alarm catches up");
  ledger_.CatchUp([this](const Result<std::optional<Instant>>& next) {
    if (next.has_error()) {
      schedule_.Failed(outside_.steady);
    } else {
      schedule_.Ended(*next);
    }
  });
}

bool Process::Ask(std::function<Result<void>(store::Store&)> look) {
  if (is_dead()) return false;
  const Disk::Unharmed unharmed(outside_.disk);
  bool answered = false;
  store::Job job;
  job.work = std::move(look);
  job.done = [&answered, this](const Result<void>& done) {
    answered = done.has_value();
    if (!answered) outside_.findings.Trace("  cannot ask: " + done.error().message());
  };
  std::vector<store::Job> batch;
  batch.push_back(std::move(job));
  committer_.Run(batch);
  return answered;
}

}  // namespace dwell::sim
