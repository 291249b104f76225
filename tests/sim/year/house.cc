#include "tests/sim/year/house.h"

#include <algorithm>
#include <utility>

#include "daemon/retention/retention.h"
#include "schemas/base/check.h"
#include "tests/sim/rules.h"

namespace dwell::year {
namespace {

using std::chrono::hours;

constexpr const char* kPath = "/store";
constexpr milliseconds kLookEvery{250};  // as daemon/alarm/alarm.h
constexpr std::chrono::days kKeepDelivered{2}, kKeepClosed{3};

due::Policy MakePolicy() {
  due::LineRules cannula;
  cannula.dwell_max = hours(72);
  cannula.check_rounds = RoundsOfTheYear();
  cannula.remove_at_phlebitis_grade = 2;
  due::LineRules midline;
  midline.dwell_max = hours(14 * 24);
  midline.check_interval = hours(8);
  midline.dressing_max[""] = hours(7 * 24);
  midline.remove_at_phlebitis_grade = 2;
  due::Policy policy;
  policy.name = "a-year";
  policy.version = "1";
  policy.due_soon = Oracle::kDueSoon;
  policy.grace = Oracle::kGrace;
  policy.watch = hours(48);
  policy.by_kind["peripheral-cannula"] = cannula;
  policy.by_kind["midline"] = midline;
  return policy;
}

std::string Text(schemas::Value object, std::string_view name) {
  const auto value = object.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

/// The Tasks in a bundle.
void ReadTasks(std::string_view body, std::vector<ToldTask>& tasks) {
  const auto document = schemas::Document::Parse(body);
  CHECK(document.has_value());
  for (const schemas::Value entry : *document->root().Find("entry")) {
    const schemas::Value resource = *entry.Find("resource");
    if (Text(resource, "resourceType") != "Task") continue;
    const schemas::Value coding = *resource.Find("businessStatus")->Find("coding")->first();
    tasks.push_back({Text(*resource.Find("identifier")->first(), "value"), Text(coding, "code")});
  }
}

}  // namespace

Instant MachineClock::Now() const {
  return keeper_.Tell({true_ + ahead_, true_.time_since_epoch()}, [] { return false; });
}

std::vector<minutes> RoundsOfTheYear() { return {minutes(90), minutes(570), minutes(1050)}; }

ledger::Rules RulesOfTheYear(const std::string& zone) {
  static const due::Policy policy = MakePolicy();
  static std::optional<due::Zone> loaded;
  auto found = due::Zone::Load(zone);
  CHECK(found.has_value());
  loaded.emplace(std::move(*found));
  ledger::Rules rules = sim::RulesOfTheHouse();
  rules.policy = &policy;
  rules.zone = &*loaded;
  rules.fhir.zone = &*loaded;
  rules.queue_bundles_max = limits::kQueueBundlesMax;
  return rules;
}

struct House::Life {
  Life(std::unique_ptr<store::Store> store, const base::Clock& clock, const ledger::Rules& rules)
      : committer(std::move(store), [](const Error&) { CHECK(false && "the store failed"); }),
        ledger(jobs, clock, rules),
        pipeline(ledger, jobs, *rules.schemas) {
    ledger.OnNews([this] { schedule.News(); });
  }

  store::Committer committer;
  sim::QueuedJobs jobs;
  ledger::Ledger ledger;
  intake::Pipeline pipeline;
  alarm::Schedule schedule;
};

House::House(MachineClock& clock, const ledger::Rules& rules, std::uint64_t seed)
    : clock_(clock), rules_(rules), disk_(seed) {
  disk_.Put(kPath, sim::EmptyStore());
}

House::~House() = default;

void House::Start() {
  clock_.Begin();
  store::Options options;
  options.files = &disk_;
  auto store = store::Store::Open(kPath, options);
  CHECK(store.has_value());
  life_ = std::make_unique<Life>(std::move(*store), clock_, rules_);
}

void House::Stop(End end) {
  if (end == End::kOrderly) life_->committer.Finish();
  if (end != End::kOrderly) disk_.Cut();
  life_.reset();
  if (end == End::kPowerCut) disk_.Restore();
  if (end == End::kKilled) disk_.Revive();
}

void House::Work() {
  while (!life_->jobs.empty()) life_->committer.Run(life_->jobs.Take());
  Deliver();
  life_->committer.Idle();
}

/// As delivery does, with an endpoint that takes everything.
void House::Deliver() {
  bool is_more = true;
  while (is_more) {
    std::vector<store::BundleRecord> claimed;
    store::Job job;
    job.work = [&](store::Store& store) -> Result<void> {
      auto claims = store.Claim(0, clock_.Now(), 1000);
      if (!claims) return claims.error();
      claimed = std::move(*claims);
      for (const store::BundleRecord& bundle : claimed) {
        store::Settlement settlement;
        settlement.bundle_seq = bundle.seq;
        settlement.at = clock_.Now();
        if (auto done = store.Settle(settlement); !done) return done;
      }
      return {};
    };
    job.done = [](const Result<void>& done) { CHECK(done.has_value()); };
    std::vector<store::Job> batch;
    batch.push_back(std::move(job));
    life_->committer.Run(batch);
    for (const store::BundleRecord& bundle : claimed) ReadTasks(bundle.body, told_);
    is_more = !claimed.empty();
  }
}

int House::Submit(const std::string& raw) {
  int status = 0;
  life_->pipeline.SubmitOne(raw, [&status](const intake::Reply& reply) { status = reply.status; });
  Work();
  return status;
}

std::optional<Instant> House::NextLook() const {
  Instant at = clock_.true_now();
  if (!life_->schedule.must_look()) {
    if (!life_->schedule.next()) return std::nullopt;
    at += std::max(milliseconds(0), milliseconds(*life_->schedule.next() - clock_.Now()));
  }
  const Instant look(kLookEvery *
                     ((at.time_since_epoch() + kLookEvery - milliseconds(1)) / kLookEvery));
  return look > clock_.true_now() ? look : clock_.true_now() + kLookEvery;
}

void House::Look() {
  const alarm::Schedule::Steady steady(clock_.true_now().time_since_epoch());
  if (!life_->schedule.Begin(clock_.Now(), steady)) return;
  ++catch_ups_;
  life_->ledger.CatchUp([life = life_.get()](const Result<std::optional<Instant>>& next) {
    CHECK(next.has_value());
    life->schedule.Ended(*next);
  });
  Work();
}

void House::CleanUp() {
  retention::Task task;
  task.now = clock_.Now();
  task.bodies_until = clock_.Now() - kKeepDelivered;
  task.lines_until = clock_.Now() - kKeepClosed;
  bool is_more = true;
  while (is_more) {
    retention::Step step;
    store::Job job;
    job.work = [&](store::Store& store) -> Result<void> {
      auto taken = retention::TakeStep(store, life_->ledger, task);
      if (!taken) return taken.error();
      step = *taken;
      return {};
    };
    job.done = [](const Result<void>& done) { CHECK(done.has_value()); };
    life_->jobs.Post(std::move(job));
    Work();
    task.after = step.lines.after;
    is_more = step.bundles + step.lines.looked_at + step.pages > 0;
  }
}

std::vector<ToldTask> House::TakeTold() { return std::exchange(told_, {}); }

}  // namespace dwell::year
