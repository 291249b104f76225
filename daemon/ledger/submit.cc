#include <array>
#include <set>
#include <utility>

#include "daemon/base/log.h"
#include "daemon/ledger/content_hash.h"
#include "daemon/ledger/crossing.h"
#include "daemon/ledger/damage.h"
#include "daemon/ledger/impl.h"
#include "mapping/event/identifiers.h"
#include "mapping/fhir/unknown_codes.h"

namespace dwell::ledger {
namespace {

/// Submissions on their way through one job.
struct Batch {
  std::vector<Submission> submissions;
  std::vector<store::Sha256> contents;
  std::vector<Receipt> receipts;
  Receipts tell;
  Instant now{};
  std::string no_room_because;  // empty while there is room for more events
  Touched touched;
};

Receipt NotNow(std::string why) {
  Receipt receipt;
  receipt.answer = Answer::kNotNow;
  receipt.why = std::move(why);
  return receipt;
}

Receipt Contradicts(line::Contradiction contradiction) {
  Receipt receipt;
  receipt.answer = Answer::kContradiction;
  receipt.contradiction = std::move(contradiction);
  return receipt;
}

Receipt Known(const store::EventRecord& known, const store::Sha256& content) {
  Receipt receipt;
  receipt.is_derived = !known.line_damaged_since;
  if (known.content == content) {
    receipt.answer = Answer::kRepeated;
    receipt.event_seq = known.seq;
    receipt.received_at = known.received_at;
    return receipt;
  }
  receipt.answer = Answer::kConflict;
  receipt.contradiction = {
      "/id", "conflict",
      "an id not used before by this source; to correct an event, a new id and \"replaces\"",
      known.id};
  return receipt;
}

/// The first instant of the event that lies further ahead than clocks differ, if any.
std::optional<line::Contradiction> InTheFuture(const event::Event& event, Instant now) {
  struct Row {
    const char* pointer;
    const Moment* moment;
  };
  const std::array<Row, 3> rows{{
      {event.happened_until ? "/happened_from" : "/happened_at", &event.happened},
      {"/happened_until", event.happened_until ? &*event.happened_until : nullptr},
      {"/recorded_at", &event.recorded_at},
  }};
  for (const Row& row : rows) {
    if (row.moment == nullptr || row.moment->instant <= now + limits::kFutureMax) continue;
    return line::Contradiction{row.pointer, "in-the-future",
                               "at most " + std::to_string(limits::kFutureMax.count()) +
                                   " minutes after this server's clock, " + FormatInstant(now),
                               event.id};
  }
  return std::nullopt;
}

/// The same event again, whose stored bytes are damaged: it takes their place, and its line is
/// looked at now.
Result<void> Mend(Ledger::Impl& ledger, store::Store& store, const store::EventRecord& known,
                  Batch& batch, std::size_t i) {
  const bool is_gone = known.no_longer_kept_since.has_value();
  if (is_gone || known.content != batch.contents[i]) return {};
  if (ContentHash(known.raw) == known.content) return {};
  const event::Event& event = *batch.submissions[i].event;
  const auto line = store.LoadLine(line::Key{event.source, event.line_id});
  if (line.has_error()) return line.error();
  if (!line.value()) return {};
  log::Write(log::Level::kInfo, "event-mended", {{"event_seq", known.seq}});
  batch.touched.news = true;
  batch.touched.lines.push_back((*line.value()).key);
  ledger.cache.Drop((*line.value()).key);
  Result<void> done = store.MendEvent(known.seq, batch.submissions[i].raw);
  if (done.has_error()) return done;
  return store.MarkDamaged((*line.value()).seq, batch.now, batch.now);
}

/// No new event can be placed in a line that ended and is no longer kept: a second insertion would
/// look like the first.
Receipt NoLongerKept(const event::Event& event, Instant since) {
  return Contradicts({"/line_id", "no-longer-kept",
                      "a line whose events are still kept: this one ended, and its events have not "
                      "been kept since " +
                          FormatInstant(since) +
                          "; what is still to be said of it belongs into the hospital record by "
                          "hand, a new line needs a line_id of its own",
                      event.id});
}

/// As it is stored; takes its bytes.
store::EventRecord RecordOf(Batch& batch, std::size_t i) {
  const event::Event& event = *batch.submissions[i].event;
  return {.source = event.source,
          .id = event.id,
          .kind = std::string(event::KindName(event.kind())),
          .content = batch.contents[i],
          .received_at = batch.now,
          .raw = std::move(batch.submissions[i].raw)};
}

/// An event just stored: what it is remembered for besides.
Result<void> Remember(const Ledger::Impl& ledger, store::Store& store, const LineState& state,
                      const event::Event& event, Instant now) {
  for (const auto& unknown : fhir::UnknownCodes(event, *ledger.rules.fhir.codes)) {
    auto counted = store.CountUnknownCode(unknown.group, unknown.code, now);
    if (counted.has_error()) return counted;
  }
  std::set<std::string_view> doubtful_systems;  // an event counts once for each
  for (const auto& doubt : event::DoubtsAbout(event.patient)) doubtful_systems.insert(doubt.system);
  for (const std::string_view system : doubtful_systems) {
    auto counted = store.CountDoubtfulIdentifier(event.source, system, now);
    if (counted.has_error()) return counted;
  }
  return RememberNamed(store, state, event);
}

/// A new event for a line that is damaged: what the line then says nobody can tell, but the event
/// itself must not be lost.
Result<Receipt> StoreUnderived(const Ledger::Impl& ledger, store::Store& store, Batch& batch,
                               std::size_t i, const store::LineRecord& line) {
  const event::Event& event = *batch.submissions[i].event;
  const auto added = store.AddEvent(RecordOf(batch, i), line.seq);
  if (added.has_error()) return added.error();
  Result<void> done = store.AnotherEvent(line.seq, batch.now);
  LineState state;
  state.seq = line.seq;
  state.key = line.key;
  if (done.has_value()) done = Remember(ledger, store, state, event, batch.now);
  if (done.has_error()) return done.error();
  Receipt receipt;
  receipt.answer = Answer::kStored;
  receipt.event_seq = added.value();
  receipt.received_at = batch.now;
  receipt.is_derived = false;
  return receipt;
}

/// A new event for a line that cannot be worked with.
Result<Receipt> Unworkable(const Ledger::Impl& ledger, store::Store& store, Batch& batch,
                           std::size_t i) {
  const event::Event& event = *batch.submissions[i].event;
  const auto line = store.LoadLine(line::Key{event.source, event.line_id});
  if (line.has_error()) return line.error();
  if (line.value() && line.value()->no_longer_kept_since) {
    return NoLongerKept(event, *line.value()->no_longer_kept_since);
  }
  if (line.value() && !DamageOf(*line.value()).empty()) {
    return StoreUnderived(ledger, store, batch, i, *line.value());
  }
  return NotNow("an earlier event of this line can no longer be read");
}

/// What became of submission `i`. An error is one of the store.
Result<Receipt> Place(Ledger::Impl& ledger, store::Store& store, Batch& batch, std::size_t i) {
  const Submission& submission = batch.submissions[i];
  const event::Event& event = *submission.event;
  const auto known = store.FindEvent(event.source, event.id);
  if (known.has_error()) return known.error();
  if (known.value()) {
    const Result<void> mended = Mend(ledger, store, *known.value(), batch, i);
    if (mended.has_error()) return mended.error();
    return Known(*known.value(), batch.contents[i]);
  }
  if (!batch.no_room_because.empty()) return NotNow(batch.no_room_because);
  if (auto future = InTheFuture(event, batch.now)) return Contradicts(std::move(*future));

  LineState fresh;
  fresh.key = {event.source, event.line_id};
  const Result<LineState*> loaded = ledger.Load(store, fresh.key);
  if (loaded.has_error() && loaded.error().kind() == ErrorKind::kData) {
    return Unworkable(ledger, store, batch, i);
  }
  if (loaded.has_error()) return loaded.error();
  LineState& state = loaded.value() != nullptr ? *loaded.value() : fresh;
  const auto line = ledger.Derive(state, submission.event);
  if (line.has_error()) return Contradicts(line.error());
  auto crossing = FindCrossing(store, state, event);
  if (crossing.has_error() && crossing.error().kind() == ErrorKind::kData) {
    return NotNow("an event of another line that names this one can no longer be read");
  }
  if (crossing.has_error()) return crossing.error();
  if (crossing.value()) return Contradicts(std::move(**crossing));

  batch.touched.lines.push_back(state.key);
  batch.touched.news = true;
  const store::EventRecord record = RecordOf(batch, i);
  Making making = MakeAll(*line, state, ledger.rules, &event, batch.now);
  const auto appended = ledger.Append(store, state, std::move(making), &record);
  if (appended.has_error()) return appended.error();
  const Result<void> remembered = Remember(ledger, store, state, event, batch.now);
  if (remembered.has_error()) return remembered.error();
  state.events.push_back(submission.event);
  if (loaded.value() != nullptr) {
    ledger.cache.CountEvent();
  } else {
    ledger.cache.Put(std::move(fresh));
  }
  Receipt receipt;
  receipt.answer = Answer::kStored;
  receipt.event_seq = appended->event_seq;
  receipt.received_at = batch.now;
  return receipt;
}

Result<void> PlaceAll(Ledger::Impl& ledger, store::Store& store, Batch& batch) {
  batch.now = ledger.clock.Now();
  batch.no_room_because = ledger.WhyNoRoom(store);
  for (std::size_t i = 0; i < batch.submissions.size(); ++i) {
    Result<Receipt> receipt = Place(ledger, store, batch, i);
    if (receipt.has_error()) return receipt.error();
    batch.receipts.push_back(std::move(receipt.value()));
  }
  return {};
}

}  // namespace

void Ledger::Submit(std::vector<Submission> submissions, Receipts receipts) {
  auto batch = std::make_shared<Batch>();
  batch->contents.reserve(submissions.size());
  for (const Submission& one : submissions) batch->contents.push_back(ContentHash(one.raw));
  batch->submissions = std::move(submissions);
  batch->receipts.reserve(batch->submissions.size());
  batch->tell = std::move(receipts);
  store::Job job;
  job.weight = batch->submissions.size();
  job.work = [impl = impl_, batch](store::Store& store) { return PlaceAll(*impl, store, *batch); };
  job.done = [impl = impl_, batch](const Result<void>& committed) {
    if (committed.has_error()) {
      batch->receipts.assign(batch->submissions.size(), NotNow(committed.error().message()));
    }
    batch->tell(std::move(batch->receipts));
    impl->Finish(batch->touched, committed);
  };
  impl_->jobs.Post(std::move(job));
}

}  // namespace dwell::ledger
