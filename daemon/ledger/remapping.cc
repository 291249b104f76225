// Lines derived again after the code map, the policy or this program changed.
#include <algorithm>
#include <utility>

#include "daemon/base/log.h"
#include "daemon/ledger/differences.h"
#include "daemon/ledger/held.h"
#include "daemon/ledger/impl.h"
#include "daemon/ledger/summary.h"
#include "schemas/base/check.h"

namespace dwell::ledger {
namespace {

/// One page on its way through one job.
struct Pass {
  RemapOrder order;
  Instant now{};
  RemapPage page;
  std::size_t pieces = 0;  // events and bundles read so far
  Touched touched;
};

fhir::Issued* FindIssued(std::vector<fhir::Issued>& issued, const std::string& type,
                         const std::string& id) {
  const auto found = std::ranges::find_if(
      issued, [&](const fhir::Issued& one) { return one.type == type && one.id == id; });
  return found == issued.end() ? nullptr : &*found;
}

/// When it was made says nothing about a Task: `authoredOn` is the start of its window at the
/// latest, and that stands in the window itself.
bool IsOfMaking(std::string_view type, std::string_view pointer) {
  return type == "Task" && (pointer == "/lastModified" || pointer == "/authoredOn");
}

/// As it would be written for that endpoint.
std::string WrittenFor(std::int64_t endpoint, const fhir::Resource& resource,
                       const line::Line& line, const std::vector<due::Due>& dues,
                       const Rules& rules) {
  const auto destination = std::ranges::find(rules.destinations, endpoint, &Destination::number);
  if (destination == rules.destinations.end() || destination->types.empty()) return resource.json;
  const auto selected = fhir::Select(destination->types, {resource}, line, dues, rules.fhir);
  return selected.empty() ? resource.json : selected.front().json;
}

/// How a resource made again differs from what was issued of it; empty when it does not.
template <class WriteFor>
std::optional<Remapped> Compare(const fhir::Resource& resource, const fhir::Issued* issued,
                                const LastIssued& last, const WriteFor& write_for) {
  Remapped remapped;
  remapped.type = resource.type;
  remapped.id = resource.id;
  remapped.role = resource.role;
  const auto before = last.Find(resource.type + "/" + resource.id);
  if (issued == nullptr) {
    remapped.state = Remapped::State::kNew;
  } else if (IsForgotten(*issued)) {
    remapped.state = Remapped::State::kGivenUp;
  } else if (!before) {
    remapped.state = Remapped::State::kNotKept;
  } else {
    const auto after = schemas::Document::Parse(write_for(before->endpoint, resource));
    if (!after) return remapped;  // not legal: found again when the bundle is made
    remapped.changes = Differences(
        before->resource, after->root(),
        [&resource](std::string_view pointer) { return IsOfMaking(resource.type, pointer); });
    if (remapped.changes.empty()) return std::nullopt;
    remapped.changes.resize(std::min(remapped.changes.size(), limits::kRemapChangesMax));
  }
  return remapped;
}

/// What was last issued of the resources made again, from the bundles that are still kept.
Result<LastIssued> FindLast(store::Store& store, Pass& pass, LineState& state,
                            const std::vector<fhir::Resource>& made) {
  std::vector<std::string> wanted;
  for (const fhir::Resource& resource : made) {
    const fhir::Issued* issued = FindIssued(state.issued, resource.type, resource.id);
    if (issued != nullptr && !IsForgotten(*issued)) {
      wanted.push_back(resource.type + "/" + resource.id);
    }
  }
  LastIssued last(std::move(wanted));
  if (last.complete()) return last;
  const auto seqs = store.KeptBundles(state.seq);
  if (seqs.has_error()) return seqs.error();
  for (const std::int64_t seq : seqs.value()) {
    const auto bundle = store.FindBundle(seq);
    if (bundle.has_error()) return bundle.error();
    // It may have held any of them, and what came before it is not the last.
    if (bundle.value()->damaged) break;
    last.Look(bundle.value()->body, bundle.value()->endpoint);
    ++pass.pieces;
    if (last.complete()) break;
  }
  return last;
}

/// Sorts what was made again into what differs (into `row`) and what comes out the same; returns
/// what counts as issued once the latter is known to.
Result<std::vector<fhir::Issued>> Sift(const Ledger::Impl& ledger, store::Store& store, Pass& pass,
                                       LineState& state, const line::Line& line, Derived& again,
                                       RemappedLine& row) {
  const auto last = FindLast(store, pass, state, again.made.resources);
  if (last.has_error()) return last.error();
  const auto write_for = [&](std::int64_t endpoint, const fhir::Resource& resource) {
    return WrittenFor(endpoint, resource, line, again.dues, ledger.rules);
  };
  std::vector<fhir::Issued> issued = state.issued;
  for (const fhir::Resource& resource : again.made.resources) {
    if (resource.role.empty()) continue;  // the Provenance
    fhir::Issued* const known = FindIssued(issued, resource.type, resource.id);
    auto differs = Compare(resource, known, last.value(), write_for);
    if (differs) {
      row.resources.push_back(std::move(*differs));
      continue;
    }
    ++row.same;
    known->fingerprint = FindIssued(again.made.issued, resource.type, resource.id)->fingerprint;
  }
  return issued;
}

Result<void> CountLane(store::Store& store, const LineState& state, RemappedLine& row) {
  const auto open = store.OpenOfLine(state.seq);
  if (open.has_error()) return open.error();
  row.waiting = open->size();
  row.on_hold = static_cast<std::size_t>(
      std::ranges::count(open.value(), store::DeliveryState::kOnHold, &store::BundleRecord::state));
  return {};
}

/// Stores what was made; the line's bundle goes to the end of its lane.
Result<void> Send(Ledger::Impl& ledger, store::Store& store, Pass& pass, LineState& state,
                  Making making, RemappedLine& row) {
  pass.touched.lines.push_back(state.key);
  pass.touched.news = true;
  const auto appended = ledger.Append(store, state, std::move(making), nullptr);
  if (appended.has_error()) return appended.error();
  for (const Appended::Bundle& bundle : appended->bundles) {
    row.bundle_seqs.push_back(bundle.seq);
    store::DecisionRecord decision;
    decision.bundle_seq = bundle.seq;
    decision.at = pass.now;
    decision.act = store::Act::kDerivedAgain;
    decision.by = pass.order.by;
    decision.why = pass.order.why;
    const auto kept = store.WriteDown(decision);
    if (kept.has_error()) return kept.error();
  }
  return {};
}

Result<void> RemapLine(Ledger::Impl& ledger, store::Store& store, Pass& pass,
                       const store::LineRecord& record, RemappedLine& row) {
  const Result<LineState*> loaded = ledger.Load(store, record.key);
  if (loaded.has_error() && loaded.error().kind() == ErrorKind::kData) {
    row.trouble = loaded.error().message();
    return {};
  }
  if (loaded.has_error()) return loaded.error();
  LineState& state = *loaded.value();
  pass.pieces += state.events.size();
  const auto line = ledger.Derive(state, nullptr);
  if (line.has_error()) {
    row.trouble = "its stored events contradict each other";
    return {};
  }
  row.ward = line->place().ward;
  const fhir::Cause cause{
      .recorded = pass.now, .sequence = state.bundles + 1, .derived_again = true};
  Derived again = DeriveResources(*line, state.issued, ledger.rules, cause);
  auto issued = Sift(ledger, store, pass, state, *line, again, row);
  if (issued.has_error()) return issued.error();
  // Once more, so that the bundle and its Provenance hold only what differs.
  Making making = FinishMaking(*line, DeriveResources(*line, *issued, ledger.rules, cause),
                               ledger.rules, pass.now);
  CHECK(making.news == !row.resources.empty());
  if (making.news) {
    Result<void> counted = CountLane(store, state, row);
    if (counted.has_error()) return counted;
    if (const std::string fault = making.fault(); !fault.empty()) {
      row.trouble = "not sent: " + fault;
      return {};
    }
  }
  if (!pass.order.send) return {};
  const bool as_it_was = !making.news && row.same == 0 &&
                         making.next_change == record.next_change &&
                         making.summary == record.summary;
  if (as_it_was) return {};
  if (making.news) pass.page.refusal = ledger.WhyNoRoom(store);
  if (!pass.page.refusal.empty()) return {};
  return Send(ledger, store, pass, state, std::move(making), row);
}

Result<void> RemapPageOf(Ledger::Impl& ledger, store::Store& store, Pass& pass) {
  RemapPage& page = pass.page;
  pass.now = ledger.clock.Now();
  page.of = store.counts().lines;
  page.after = pass.order.after;
  const auto records = store.ListLines(page.after, limits::kRemapLinesMax);
  if (records.has_error()) return records.error();
  page.more = records->size() == limits::kRemapLinesMax;
  for (const store::LineRecord& record : records.value()) {
    if (pass.pieces >= limits::kRemapPiecesMax) {
      page.more = true;
      break;
    }
    const bool meant = IsMeant(record, pass.order.source, pass.order.line_id, pass.order.ward) &&
                       (!pass.order.open_only || MayGoOn(record));
    if (meant && record.no_longer_kept_since) {
      ++page.not_kept;
    } else if (meant) {
      RemappedLine row;
      row.key = record.key;
      Result<void> done = RemapLine(ledger, store, pass, record, row);
      if (done.has_error()) return done;
      if (!page.refusal.empty()) {
        page.more = false;
        break;
      }
      ++page.chosen;
      page.same += row.same;
      if (!row.resources.empty() || !row.trouble.empty()) page.lines.push_back(std::move(row));
    }
    ++page.looked_at;
    page.after = record.seq;
  }
  return {};
}

/// Counts only: who ordered it is not for the log.
void Log(const RemapOrder& order, const RemapPage& page) {
  const auto sent = std::ranges::count_if(
      page.lines, [](const RemappedLine& row) { return !row.bundle_seqs.empty(); });
  if (!order.send || sent == 0) return;
  log::Write(log::Level::kInfo, "lines-derived-again",
             {{"lines", page.chosen}, {"deliveries", static_cast<std::int64_t>(sent)}});
}

}  // namespace

void Ledger::Remap(RemapOrder order, std::function<void(Result<RemapPage>)> done) {
  auto pass = std::make_shared<Pass>();
  pass->order = std::move(order);
  store::Job job;
  job.weight = limits::kRemapLinesMax;
  job.work = [impl = impl_, pass](store::Store& store) { return RemapPageOf(*impl, store, *pass); };
  job.done = [impl = impl_, pass, done = std::move(done)](const Result<void>& committed) {
    impl->Finish(pass->touched, committed);
    if (committed.has_error()) return done(committed.error());
    Log(pass->order, pass->page);
    done(std::move(pass->page));
  };
  impl_->jobs.Post(std::move(job));
}

}  // namespace dwell::ledger
