#include "daemon/ledger/ledger.h"

#include <utility>

#include "daemon/base/log.h"
#include "daemon/ledger/damage.h"
#include "daemon/ledger/impl.h"
#include "daemon/ledger/issued_code.h"

namespace dwell::ledger {

Result<std::vector<store::BundleRecord>> OfEndpoint(
    Result<std::vector<store::BundleRecord>> bundles, std::int64_t endpoint) {
  if (bundles.has_value()) {
    std::erase_if(bundles.value(), [endpoint](const store::BundleRecord& bundle) {
      return bundle.endpoint != endpoint;
    });
  }
  return bundles;
}

Ledger::Ledger(store::Jobs& jobs, const base::Clock& clock, Rules rules)
    : impl_(std::make_shared<Impl>(jobs, clock, std::move(rules))) {}

Ledger::~Ledger() = default;

void Ledger::OnNews(std::function<void()> news) {
  const std::scoped_lock lock(impl_->mutex);
  impl_->listeners.push_back(std::move(news));
}

void Ledger::ReplaceRules(Rules rules, std::function<void(const Result<void>&)> done) {
  struct Swap {
    Rules rules;
    bool done = false;
  };
  const auto swap = std::make_shared<Swap>(Swap{std::move(rules)});
  store::Job job;
  job.work = [impl = impl_, swap](store::Store&) -> Result<void> {
    impl->rules = swap->rules;
    swap->done = true;
    return {};
  };
  // It stores nothing: a commit that fails after it changes nothing about it.
  job.done = [swap, done = std::move(done)](const Result<void>& committed) {
    done(swap->done ? Result<void>() : committed);
  };
  impl_->jobs.Post(std::move(job));
}

Result<LineState*> Ledger::Impl::Load(store::Store& store, const line::Key& key) {
  if (LineState* known = cache.Find(key)) return known;
  const auto record = store.LoadLine(key);
  if (record.has_error()) return record.error();
  if (!record.value()) return nullptr;
  auto state = ReadLineState(*record.value());
  const Result<void> noted = Note(store, *record.value(), state);
  if (noted.has_error()) return noted.error();
  if (state.has_error()) return state.error();
  return cache.Put(std::move(state.value()));
}

/// What the reading of a line says of the disk.
Result<void> Ledger::Impl::Note(store::Store& store, const store::LineRecord& record,
                                const Result<LineState>& state) const {
  if (state.has_value()) {
    if (!record.damaged_since) return {};
    log::Write(log::Level::kInfo, "line-whole-again", {{"line_seq", record.seq}});
    return store.MarkWhole(record.seq);
  }
  if (record.no_longer_kept_since) return {};
  log::Write(log::Level::kError, "line-unreadable",
             {{"line_seq", record.seq}, {"error", state.error()}});
  if (DamageOf(record).empty()) return {};
  const Instant now = clock.Now();
  return store.MarkDamaged(record.seq, now, now + limits::kLinePutOff);
}

Result<line::Line, line::Contradiction> Ledger::Impl::Derive(
    const LineState& state, const std::shared_ptr<const event::Event>& added) const {
  // What was legal when it was stored stays: a policy with a shorter watch must not make the past
  // illegal and the line deaf.
  constexpr std::chrono::minutes kAnyTime = std::chrono::days(36500);
  const std::chrono::minutes watch = rules.policy->check_after_removal_max();
  auto events = state.events;
  if (added != nullptr) events.push_back(added);
  auto line = line::Derive(state.key, events, watch);
  if (line.has_value() || state.events.empty()) return line;
  if (added != nullptr && line::Derive(state.key, state.events, watch).has_value()) return line;
  return line::Derive(state.key, std::move(events), kAnyTime);
}

std::string Ledger::Impl::WhyNoRoom(const store::Store& store) const {
  const store::Counts& counts = store.counts();
  if (counts.ready + counts.in_progress + counts.on_hold >= rules.queue_bundles_max) {
    return "too many deliveries wait";
  }
  if (!store.HasRoom()) return "too little space is left on the store's file system";
  return {};
}

Result<Appended> Ledger::Impl::Append(store::Store& store, LineState& state, Making making,
                                      const store::EventRecord* event) {
  state.issued = std::move(making.issued);
  if (making.news) ++state.bundles;
  store::LineRecord line;
  line.seq = state.seq;
  line.key = state.key;
  line.issued = EncodeIssued(state.issued);
  line.bundles = state.bundles;
  line.events = state.events.size() + (event != nullptr ? 1 : 0);
  line.next_change = making.next_change;
  if (event != nullptr) line.last_event_at = event->received_at;
  line.summary = std::move(making.summary);
  const Result<std::int64_t> saved = store.SaveLine(line);
  if (saved.has_error()) return saved.error();
  state.seq = saved.value();

  Appended appended;
  if (event != nullptr) {
    const Result<std::int64_t> added = store.AddEvent(*event, state.seq);
    if (added.has_error()) return added.error();
    appended.event_seq = added.value();
  }
  if (making.bundles.empty()) return appended;
  const Result<std::int64_t> ward = store.WardNumber(making.ward);
  if (ward.has_error()) return ward.error();
  for (store::BundleRecord& bundle : making.bundles) {
    bundle.ward = ward.value();
    bundle.line_seq = state.seq;
    if (event != nullptr) bundle.event_seq = appended.event_seq;
    const Result<std::int64_t> seq = store.AddBundle(bundle);
    if (seq.has_error()) return seq.error();
    appended.bundles.push_back({seq.value(), bundle.endpoint});
    if (bundle.state != store::DeliveryState::kOnHold) continue;
    log::Write(log::Level::kError, "own-resource-not-legal",
               {{"bundle_seq", seq.value()}, {"event_seq", bundle.event_seq}});
  }
  return appended;
}

void Ledger::Impl::Finish(const Touched& touched, const Result<void>& committed) {
  if (committed.has_error()) {
    for (const line::Key& key : touched.lines) cache.Drop(key);
    return;
  }
  if (!touched.news) return;
  std::vector<std::function<void()>> all;
  {
    const std::scoped_lock lock(mutex);
    all = listeners;
  }
  for (const auto& listener : all) listener();
}

}  // namespace dwell::ledger
