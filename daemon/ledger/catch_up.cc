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
  std::size_t looked_at = 0;
  std::optional<Instant> next;
  Touched touched;
};

// A line that cannot be worked with is left as it is, for later.
Result<void> PutOff(store::Store& store, const line::Key& key, Instant until) {
  auto record = store.LoadLine(key);
  if (record.has_error()) return record.error();
  record.value()->next_change = until;
  const auto saved = store.SaveLine(*record.value());
  if (saved.has_error()) return saved.error();
  return {};
}

Result<void> LookAgain(Ledger::Impl& ledger, store::Store& store, const line::Key& key,
                       Touched& touched, Instant now) {
  const Result<LineState*> loaded = ledger.Load(store, key);
  if (loaded.has_error() && loaded.error().kind() == ErrorKind::kData) {
    return PutOff(store, key, now + limits::kLinePutOff);
  }
  if (loaded.has_error()) return loaded.error();
  LineState& state = *loaded.value();
  const auto line = ledger.Derive(state, nullptr);
  if (line.has_error()) {
    log::Write(log::Level::kError, "stored-line-contradicts-itself", {{"line_seq", state.seq}});
    return PutOff(store, key, now + limits::kLinePutOff);
  }
  touched.lines.push_back(key);
  Making making = MakeAll(*line, state, ledger.rules, nullptr, now);
  touched.news = touched.news || !making.bundles.empty();
  const auto appended = ledger.Append(store, state, std::move(making), nullptr);
  if (appended.has_error()) return appended.error();
  return {};
}

Result<void> RunRound(Ledger::Impl& ledger, store::Store& store, Round& round) {
  const Instant now = ledger.clock.Now();
  const auto lines = store.LinesToChange(now, limits::kCatchUpLinesMax);
  if (lines.has_error()) return lines.error();
  for (const std::int64_t seq : lines.value()) {
    const auto key = store.KeyOfLine(seq);
    if (key.has_error()) return key.error();
    CHECK(key.value().has_value());
    Result<void> looked = LookAgain(ledger, store, *key.value(), round.touched, now);
    if (looked.has_error()) return looked;
  }
  round.looked_at = lines.value().size();
  const auto next = store.NextChange();
  if (next.has_error()) return next.error();
  round.next = next.value();
  return {};
}

void PostRound(const std::shared_ptr<Ledger::Impl>& ledger, Done done) {
  auto round = std::make_shared<Round>();
  round->done = std::move(done);
  ledger->jobs.Post(
      {[ledger, round](store::Store& store) { return RunRound(*ledger, store, *round); },
       [ledger, round](const Result<void>& committed) {
         ledger->Finish(round->touched, committed);
         if (committed.has_error()) {
           round->done(committed.error());
         } else if (round->looked_at == limits::kCatchUpLinesMax) {
           PostRound(ledger, std::move(round->done));
         } else {
           round->done(round->next);
         }
       }});
}

}  // namespace

void Ledger::CatchUp(std::function<void(Result<std::optional<Instant>>)> done) {
  PostRound(impl_, std::move(done));
}

}  // namespace dwell::ledger
