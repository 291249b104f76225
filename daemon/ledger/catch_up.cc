#include <utility>

#include "daemon/base/limits.h"
#include "daemon/base/log.h"
#include "daemon/ledger/impl.h"
#include "schemas/base/check.h"

namespace dwell::ledger {
namespace {

using Done = std::function<void(Result<std::optional<Instant>>)>;

struct Round {
  Done done;
  bool is_after_set_back = false;  // the clock was found set back, in this round or one before
  Instant now{};
  std::size_t looked_at = 0;
  std::optional<Instant> next;
  Touched touched;
};

// A line that cannot be worked with is left as it is, for later.
Result<void> LookAgain(Ledger::Impl& ledger, store::Store& store, std::int64_t seq,
                       const line::Key& key, Round& round) {
  const Instant now = round.now;
  const Result<LineState*> loaded = ledger.Load(store, key);
  if (loaded.has_error() && loaded.error().kind() == ErrorKind::kData) {
    return store.PutOff(seq, now + limits::kLinePutOff);
  }
  if (loaded.has_error()) return loaded.error();
  LineState& state = *loaded.value();
  const auto line = ledger.Derive(state, nullptr);
  if (line.has_error()) {
    log::Write(log::Level::kError, "stored-line-contradicts-itself", {{"line_seq", state.seq}});
    return store.PutOff(seq, now + limits::kLinePutOff);
  }
  round.touched.lines.push_back(key);
  const fhir::Cause cause{
      .recorded = now, .sequence = state.bundles + 1, .derived_again = round.is_after_set_back};
  Derived derived = DeriveResources(*line, state.issued, ledger.rules, cause);
  Making making = FinishMaking(*line, std::move(derived), ledger.rules, now);
  round.touched.news = round.touched.news || !making.bundles.empty();
  const auto appended = ledger.Append(store, state, std::move(making), nullptr);
  if (appended.has_error()) return appended.error();
  return {};
}

// What was told while the clock was ahead is put right once it was set back, also over a restart.
Result<void> HeedSetBack(const Ledger::Impl& ledger, store::Store& store, Round& round) {
  Instant reached = Instant::min();
  if (ledger.caught_up_to) {
    reached = *ledger.caught_up_to;
  } else {
    const auto newest = store.NewestInstant();
    if (newest.has_error()) return newest.error();
    reached = newest.value();
  }
  if (reached <= round.now + limits::kSetBackMin) return {};
  round.is_after_set_back = true;
  log::Write(log::Level::kWarning, "clock-was-set-back", {{"reached", reached}});
  return store.WakeLines(round.now);
}

Result<void> RunRound(Ledger::Impl& ledger, store::Store& store, Round& round) {
  const Instant now = round.now = ledger.clock.Now();
  const Result<void> heeded = HeedSetBack(ledger, store, round);
  if (heeded.has_error()) return heeded;
  const auto lines = store.LinesToChange(now, limits::kCatchUpLinesMax);
  if (lines.has_error()) return lines.error();
  for (const std::int64_t seq : lines.value()) {
    const auto key = store.KeyOfLine(seq);
    if (key.has_error()) return key.error();
    CHECK(key.value().has_value());
    Result<void> looked = LookAgain(ledger, store, seq, *key.value(), round);
    if (looked.has_error()) return looked;
  }
  round.looked_at = lines.value().size();
  const auto next = store.NextChange();
  if (next.has_error()) return next.error();
  round.next = next.value();
  return {};
}

void PostRound(const std::shared_ptr<Ledger::Impl>& ledger, Done done, bool is_after_set_back) {
  auto round = std::make_shared<Round>();
  round->is_after_set_back = is_after_set_back;
  round->done = std::move(done);
  ledger->jobs.Post(
      {[ledger, round](store::Store& store) { return RunRound(*ledger, store, *round); },
       [ledger, round](const Result<void>& committed) {
         ledger->Finish(round->touched, committed);
         if (committed.has_value()) ledger->caught_up_to = round->now;
         if (committed.has_error()) {
           round->done(committed.error());
         } else if (round->looked_at == limits::kCatchUpLinesMax) {
           PostRound(ledger, std::move(round->done), round->is_after_set_back);
         } else {
           round->done(round->next);
         }
       }});
}

}  // namespace

void Ledger::CatchUp(std::function<void(Result<std::optional<Instant>>)> done) {
  PostRound(impl_, std::move(done), false);
}

}  // namespace dwell::ledger
