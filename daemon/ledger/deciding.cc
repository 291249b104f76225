// What persons decide about deliveries on hold.
#include <algorithm>
#include <charconv>
#include <iterator>
#include <utility>

#include "daemon/base/log.h"
#include "daemon/ledger/held.h"
#include "daemon/ledger/impl.h"
#include "daemon/ledger/issued_code.h"
#include "schemas/base/check.h"

namespace dwell::ledger {
namespace {

using store::Act;
using store::BundleRecord;
using store::DeliveryState;

/// One order on its way through one job.
struct Sitting {
  Order order;
  Instant now{};
  Ruling ruling;
  Touched touched;
};

Result<std::vector<std::int64_t>> OnHoldOfEvent(store::Store& store, Sitting& sitting) {
  const Order& order = sitting.order;
  std::vector<store::EventRecord> events;
  if (order.source.empty()) {
    auto found = store.FindEvents(order.target);
    if (found.has_error()) return found.error();
    events = std::move(found.value());
  } else {
    auto found = store.FindEvent(order.source, order.target);
    if (found.has_error()) return found.error();
    if (found.value()) events.push_back(std::move(*found.value()));
  }
  std::vector<std::int64_t> seqs;
  if (events.size() != 1) {
    sitting.ruling.refusal = events.empty()
                                 ? "no such event is stored"
                                 : "several sources use this id: say which source is meant";
    return seqs;
  }
  const auto bundles = store.BundlesOfEvent(events.front().seq);
  if (bundles.has_error()) return bundles.error();
  for (const BundleRecord& bundle : bundles.value()) {
    if (bundle.state == DeliveryState::kOnHold) seqs.push_back(bundle.seq);
  }
  if (seqs.empty()) sitting.ruling.refusal = "no delivery of this event is on hold";
  return seqs;
}

std::optional<std::int64_t> DeliveryNumber(std::string_view text) {
  std::int64_t number = 0;
  const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool whole = read.ec == std::errc() && read.ptr == text.data() + text.size();
  return whole && number > 0 ? std::optional(number) : std::nullopt;
}

/// The deliveries that the order is about; or the ruling gets its refusal.
Result<std::vector<std::int64_t>> FindTargets(store::Store& store, Sitting& sitting) {
  const Order& order = sitting.order;
  if (!order.all_of.empty()) {
    auto seqs = store.OnHold(order.after, order.all_of, limits::kDecisionsMax);
    if (seqs.has_value()) sitting.ruling.more = seqs->size() == limits::kDecisionsMax;
    return seqs;
  }
  const auto number = order.source.empty() ? DeliveryNumber(order.target) : std::nullopt;
  if (number) return std::vector{*number};
  if (order.act == Act::kReleased) return OnHoldOfEvent(store, sitting);
  sitting.ruling.refusal = "the number of a delivery is expected";
  return std::vector<std::int64_t>();
}

store::DecisionRecord Record(const Sitting& sitting, std::int64_t bundle_seq, Act act,
                             std::int64_t made_again_as = 0) {
  store::DecisionRecord decision;
  decision.bundle_seq = bundle_seq;
  decision.at = sitting.now;
  decision.act = act;
  decision.made_again_as = made_again_as;
  decision.by = sitting.order.by;
  decision.why = sitting.order.why;
  return decision;
}

/// What a bundle held; empty when it is damaged, so that nobody can say. Fails as ReadHeld() does.
Result<std::optional<Held>> HeldBy(const Ledger::Impl& ledger, const BundleRecord& bundle) {
  if (bundle.damaged) return std::optional<Held>();
  auto held = ReadHeld(bundle.body, *ledger.rules.schemas);
  if (held.has_error()) return held.error();
  return std::optional(std::move(*held));
}

std::vector<std::string> Forget(const std::optional<Held>& held,
                                std::vector<fhir::Issued>& issued) {
  return held ? ForgetIssued(*held, issued) : ForgetAllIssued(issued);
}

/// Changes the bundle's line in the store; what memory knows of it is then out of date.
Result<void> ForgetInStore(Ledger::Impl& ledger, store::Store& store, Sitting& sitting,
                           const BundleRecord& bundle, const std::optional<Held>& held,
                           Decided& decided) {
  auto line = store.LoadLine(bundle.line_seq);
  if (line.has_error()) return line.error();
  const bool is_whole = line.value() && !line.value()->damaged;
  auto issued = is_whole ? DecodeIssued(line.value()->issued) : std::nullopt;
  if (!issued) {
    decided.refusal = "what was issued of its line can no longer be read";
    return {};
  }
  decided.forgotten = Forget(held, *issued);
  line.value()->issued = EncodeIssued(*issued);
  ledger.cache.Drop(line.value()->key);
  // Another job of this transaction may read it again before a rollback.
  sitting.touched.lines.push_back(line.value()->key);
  const auto saved = store.SaveLine(*line.value());
  if (saved.has_error()) return saved.error();
  return {};
}

Result<void> Cancel(Ledger::Impl& ledger, store::Store& store, Sitting& sitting,
                    const BundleRecord& bundle, const std::optional<Held>& held, Decided& decided) {
  decided.act = Act::kCancelled;
  Result<void> forgotten = ForgetInStore(ledger, store, sitting, bundle, held, decided);
  if (forgotten.has_error() || !decided.refusal.empty()) return forgotten;
  const auto kept = store.Decide(Record(sitting, bundle.seq, Act::kCancelled));
  if (kept.has_error()) return kept.error();
  return {};
}

/// The event of a bundle, if that is why it was made; null otherwise.
Result<std::shared_ptr<const event::Event>> CauseOf(store::Store& store, const LineState& state,
                                                    const BundleRecord& bundle) {
  const auto id = store.IdOfEvent(bundle.event_seq);
  if (id.has_error()) return id.error();
  const auto found = std::ranges::find_if(
      state.events, [&](const auto& event) { return event->id == id.value(); });
  return found == state.events.end() ? nullptr : *found;
}

/// Appends what was made in place of `old` (the held bundle, its like for other endpoints, and
/// those behind them).
Result<void> Replace(Ledger::Impl& ledger, store::Store& store, Sitting& sitting, LineState& state,
                     Making making, const std::vector<BundleRecord>& old, Decided& decided) {
  sitting.touched.lines.push_back(state.key);
  for (BundleRecord& bundle : making.bundles) bundle.event_seq = old.front().event_seq;
  const auto appended = ledger.Append(store, state, std::move(making), nullptr);
  if (appended.has_error()) return appended.error();
  for (const BundleRecord& bundle : old) {
    const auto again =
        std::ranges::find(appended->bundles, bundle.endpoint, &Appended::Bundle::endpoint);
    const std::int64_t as = again == appended->bundles.end() ? 0 : again->seq;
    const auto kept = store.Decide(Record(sitting, bundle.seq, Act::kMadeAgain, as));
    if (kept.has_error()) return kept.error();
    if (&bundle == &old.front()) {
      decided.made_again_as = as;
    } else {
      decided.with_it.push_back(bundle.seq);
    }
  }
  return {};
}

/// Whether two bundles of a line tell of the same, each to its endpoint.
bool IsMadeWith(const BundleRecord& one, const BundleRecord& other) {
  return one.event_seq == other.event_seq && one.made_at == other.made_at;
}

/// What is made again with a held bundle, this one first: its like for other endpoints, where they
/// are on hold, too, and at each endpoint all that waits behind. `open` is in the order of lanes.
std::vector<BundleRecord> InPlaceOf(BundleRecord bundle, const std::vector<BundleRecord>& open) {
  std::vector<BundleRecord> old;
  const BundleRecord* held = nullptr;  // of the lane that is looked at
  for (const BundleRecord& one : open) {
    if (held != nullptr && held->endpoint != one.endpoint) held = nullptr;
    if (held == nullptr && one.state == DeliveryState::kOnHold && IsMadeWith(one, bundle)) {
      held = &one;
    }
    if (held != nullptr && one.seq != bundle.seq) old.push_back(one);
  }
  old.insert(old.begin(), std::move(bundle));
  return old;
}

/// All that the bundles held counts as not issued in `before`.
Result<void> ForgetAll(const Ledger::Impl& ledger, store::Store& store,
                       const std::vector<BundleRecord>& bundles, LineState& before) {
  for (const BundleRecord& bundle : bundles) {
    const auto whole = store.FindBundle(bundle.seq);
    if (whole.has_error()) return whole.error();
    const auto held = HeldBy(ledger, *whole.value());
    if (held.has_error()) return held.error();
    Forget(*held, before.issued);
  }
  return {};
}

Result<void> MakeLineAgain(Ledger::Impl& ledger, store::Store& store, Sitting& sitting,
                           LineState& state, const std::vector<BundleRecord>& old,
                           Decided& decided) {
  const auto line = ledger.Derive(state, nullptr);
  if (line.has_error()) return Error(ErrorKind::kData, "its line contradicts itself");
  LineState before = state;
  Result<void> forgotten = ForgetAll(ledger, store, old, before);
  if (forgotten.has_error()) return forgotten;
  // Nobody is named as the author of what others told: with more than one making there is no cause.
  std::shared_ptr<const event::Event> cause;
  const bool made_at_once = std::ranges::all_of(
      old, [&](const BundleRecord& bundle) { return IsMadeWith(bundle, old.front()); });
  if (made_at_once) {
    const auto found = CauseOf(store, state, old.front());
    if (found.has_error()) return found.error();
    cause = found.value();
  }
  Making making = MakeAll(*line, before, ledger.rules, cause.get(), sitting.now);
  if (const std::string fault = making.fault(); !fault.empty()) {
    return Error(ErrorKind::kData, "made again it is no better: " + fault);
  }
  return Replace(ledger, store, sitting, state, std::move(making), old, decided);
}

Result<void> MakeAgain(Ledger::Impl& ledger, store::Store& store, Sitting& sitting,
                       BundleRecord bundle, Decided& decided) {
  decided.act = Act::kMadeAgain;
  const auto open = store.OpenOfLine(bundle.line_seq);
  if (open.has_error()) return open.error();
  const auto key = store.KeyOfLine(bundle.line_seq);
  if (key.has_error()) return key.error();
  CHECK(key.value().has_value());
  const std::vector<BundleRecord> old = InPlaceOf(std::move(bundle), open.value());
  const Result<LineState*> loaded = ledger.Load(store, *key.value());
  Result<void> made = loaded.has_error()
                          ? Result<void>(loaded.error())
                          : MakeLineAgain(ledger, store, sitting, *loaded.value(), old, decided);
  if (!made.has_error() || made.error().kind() != ErrorKind::kData) return made;
  decided.refusal = made.error().message();  // nothing was written before it was found
  return {};
}

Result<void> DecideOne(Ledger::Impl& ledger, store::Store& store, Sitting& sitting,
                       Decided& decided) {
  auto found = store.FindBundle(decided.bundle_seq);
  if (found.has_error()) return found.error();
  if (!found.value()) {
    decided.refusal = "there is no such delivery";
    return {};
  }
  BundleRecord& bundle = *found.value();
  decided.endpoint = store.NameOfEndpoint(bundle.endpoint);
  if (bundle.state != DeliveryState::kOnHold) {
    decided.refusal = "it is " + std::string(DeliveryStateName(bundle.state)) +
                      "; only what is on hold can be released or cancelled";
    return {};
  }
  const auto held = HeldBy(ledger, bundle);
  if (held.has_error()) {
    decided.refusal = held.error().message();
    return {};
  }
  if (sitting.order.act == Act::kCancelled) {
    return Cancel(ledger, store, sitting, bundle, *held, decided);
  }
  const bool may_go = *held && (*held)->fault.empty();
  if (!may_go) return MakeAgain(ledger, store, sitting, std::move(bundle), decided);
  const auto kept = store.Decide(Record(sitting, bundle.seq, Act::kReleased));
  if (kept.has_error()) return kept.error();
  return {};
}

Result<void> DecideAll(Ledger::Impl& ledger, store::Store& store, Sitting& sitting) {
  sitting.now = ledger.clock.Now();
  const auto seqs = FindTargets(store, sitting);
  if (seqs.has_error()) return seqs.error();
  std::vector<std::int64_t> done_with_another;
  for (const std::int64_t seq : seqs.value()) {
    if (std::ranges::count(done_with_another, seq) != 0) continue;
    Decided& decided = sitting.ruling.decided.emplace_back();
    decided.bundle_seq = seq;
    Result<void> done = DecideOne(ledger, store, sitting, decided);
    if (done.has_error()) return done;
    std::ranges::copy(decided.with_it, std::back_inserter(done_with_another));
    sitting.touched.news = sitting.touched.news || decided.refusal.empty();
  }
  return {};
}

/// Sequence numbers only: who decided is not for the log.
void Log(const Ruling& ruling) {
  for (const Decided& decided : ruling.decided) {
    if (!decided.refusal.empty()) continue;
    switch (decided.act) {
      case Act::kReleased:
        log::Write(log::Level::kInfo, "delivery-released", {{"bundle_seq", decided.bundle_seq}});
        break;
      case Act::kCancelled:
        log::Write(log::Level::kWarning, "delivery-cancelled",
                   {{"bundle_seq", decided.bundle_seq}});
        break;
      case Act::kMadeAgain:
        log::Write(log::Level::kInfo, "delivery-made-again",
                   {{"bundle_seq", decided.bundle_seq},
                    {"made_again_as", decided.made_again_as},
                    {"with_it", decided.with_it.size()}});
        break;
      case Act::kDerivedAgain:
      case Act::kSentAgain:
        CHECK(false && "no decision about what is on hold");
        break;
    }
  }
}

}  // namespace

void Ledger::Decide(Order order, std::function<void(Result<Ruling>)> done) {
  auto sitting = std::make_shared<Sitting>();
  sitting->order = std::move(order);
  store::Job job;
  job.work = [impl = impl_, sitting](store::Store& store) {
    return DecideAll(*impl, store, *sitting);
  };
  job.done = [impl = impl_, sitting, done = std::move(done)](const Result<void>& committed) {
    impl->Finish(sitting->touched, committed);
    if (committed.has_error()) return done(committed.error());
    Log(sitting->ruling);
    done(std::move(sitting->ruling));
  };
  impl_->jobs.Post(std::move(job));
}

}  // namespace dwell::ledger
