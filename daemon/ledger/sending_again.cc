// What an endpoint accepted and lost goes out again, and what it never got for the first time.
#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "daemon/base/log.h"
#include "daemon/ledger/held.h"
#include "daemon/ledger/impl.h"
#include "daemon/ledger/issued_code.h"
#include "daemon/ledger/making.h"
#include "daemon/ledger/never_sent.h"
#include "daemon/ledger/summary.h"
#include "schemas/json/write_value.h"

namespace dwell::ledger {
namespace {

using store::BundleRecord;
using store::DeliveryState;

/// One order on its way through one job.
struct Errand {
  AgainOrder order;
  Instant now{};
  AgainDone done;
  Touched touched;
};

/// By "Type/id", the delivery that is thought to hold it.
using Wanted = std::map<std::string, std::int64_t, std::less<>>;

Wanted WantedOf(const AgainLine& line, bool is_first) {
  Wanted wanted;
  for (const AgainOne& one : line.resources) {
    if (one.is_first == is_first) wanted[one.name] = one.bundle_seq;
  }
  return wanted;
}

/// What the endpoint never got, written for it. Nothing when the line cannot be derived, where that
/// is needed.
Result<std::vector<fhir::Resource>> FindFirst(Ledger::Impl& ledger, store::Store& store,
                                              const Errand& errand, const store::LineRecord& record,
                                              const Wanted& wanted) {
  std::vector<fhir::Resource> texts;
  if (wanted.empty()) return texts;
  std::size_t pieces = 0;
  auto found = FindNeverSent(store, ledger.rules, record, errand.order.endpoint, pieces);
  if (found.has_error()) return found.error();
  for (NeverSent& one : found.value()) {
    const auto want = wanted.find(one.resource.type + "/" + one.resource.id);
    const bool is_meant = want != wanted.end() && want->second == one.bundle_seq;
    if (is_meant) texts.push_back(std::move(one.resource));
  }
  const auto to =
      std::ranges::find(ledger.rules.destinations, errand.order.endpoint, &Destination::number);
  if (texts.empty() || to == ledger.rules.destinations.end() || to->types.empty()) return texts;
  const Result<LineState*> loaded = ledger.Load(store, record.key);
  const bool is_unreadable = loaded.has_error() && loaded.error().kind() == ErrorKind::kData;
  if (is_unreadable) return std::vector<fhir::Resource>();
  if (loaded.has_error()) return loaded.error();
  const auto line = ledger.Derive(*loaded.value(), nullptr);
  if (line.has_error()) return std::vector<fhir::Resource>();
  const Derived derived = DeriveResources(*line, loaded.value()->issued, ledger.rules,
                                          {.recorded = errand.now, .derived_again = true});
  return fhir::Select(to->types, texts, *line, derived.dues, ledger.rules.fhir);
}

/// The texts that are still the last word, in the order in which they were sent.
Result<std::vector<fhir::Resource>> FindTexts(store::Store& store, std::int64_t endpoint,
                                              const store::LineRecord& record, Wanted wanted) {
  const auto issued = DecodeIssued(record.issued);
  if (!issued || wanted.empty()) return std::vector<fhir::Resource>();
  for (const fhir::Issued& one : *issued) {
    if (IsForgotten(one)) wanted.erase(one.type + "/" + one.id);
  }
  const auto bundles = OfEndpoint(store.BundlesSince(record.seq, Instant::min()), endpoint);
  if (bundles.has_error()) return bundles.error();
  std::vector<std::vector<fhir::Resource>> found;  // of each bundle, the newest first
  for (const BundleRecord& listed : bundles.value()) {
    if (wanted.empty()) break;
    if (!listed.kept) continue;
    const auto bundle = store.FindBundle(listed.seq);
    if (bundle.has_error()) return bundle.error();
    std::vector<fhir::Resource>& here = found.emplace_back();
    const bool is_read =
        ReadEntries(bundle.value()->body, [&](std::string_view name, schemas::Value resource) {
          const auto want = wanted.find(name);
          if (want == wanted.end()) return;
          const bool is_last =
              listed.state == DeliveryState::kCompleted && listed.seq == want->second;
          wanted.erase(want);
          if (!is_last) return;
          fhir::Resource& one = here.emplace_back();
          one.type = name.substr(0, name.find('/'));
          one.id = name.substr(one.type.size() + 1);
          schemas::JsonWriter json;
          schemas::WriteValue(json, resource);
          one.json = json.Take();
        });
    // Damaged: it may hold a later word on anything before it.
    if (!is_read) wanted.clear();
  }
  std::vector<fhir::Resource> texts;
  for (auto each = found.rbegin(); each != found.rend(); ++each) {
    std::ranges::move(*each, std::back_inserter(texts));
  }
  return texts;
}

Result<std::int64_t> AppendBundle(store::Store& store, const Errand& errand,
                                  const store::LineRecord& record,
                                  const std::vector<fhir::Resource>& resources) {
  const auto ward = store.WardNumber(WardIn(record.summary));
  if (ward.has_error()) return ward.error();
  BundleRecord bundle;
  bundle.line_seq = record.seq;
  bundle.endpoint = errand.order.endpoint;
  bundle.ward = *ward;
  bundle.made_at = errand.now;
  bundle.entries = static_cast<std::uint32_t>(resources.size());
  bundle.body = fhir::TransactionBundle(resources);
  const auto added = store.AddBundle(bundle);
  if (added.has_error()) return added.error();
  store::DecisionRecord decision;
  decision.bundle_seq = added.value();
  decision.at = errand.now;
  decision.act = store::Act::kSentAgain;
  decision.by = errand.order.by;
  decision.why = errand.order.why;
  const auto kept = store.WriteDown(decision);
  if (kept.has_error()) return kept.error();
  return added.value();
}

Result<void> SendLine(Ledger::Impl& ledger, store::Store& store, Errand& errand,
                      const AgainLine& line) {
  const auto record = store.LoadLine(line.line_seq);
  if (record.has_error()) return record.error();
  AgainDone::Line& done = errand.done.lines.emplace_back();
  done.line_seq = line.line_seq;
  done.left_out = line.resources.size();
  if (!record.value() || record.value()->damaged) return {};  // nobody can say what it was
  auto texts = FindFirst(ledger, store, errand, *record.value(), WantedOf(line, true));
  if (texts.has_error()) return texts.error();
  auto again = FindTexts(store, errand.order.endpoint, *record.value(), WantedOf(line, false));
  if (again.has_error()) return again.error();
  std::ranges::move(*again, std::back_inserter(*texts));
  done.resources = texts->size();
  done.left_out = line.resources.size() - texts->size();
  const auto begin = std::make_move_iterator(texts->begin());
  for (std::size_t at = 0; at < done.resources; at += limits::kSentAgainEntriesMax) {
    const std::size_t end = std::min(done.resources, at + limits::kSentAgainEntriesMax);
    const std::vector<fhir::Resource> part(begin + static_cast<std::ptrdiff_t>(at),
                                           begin + static_cast<std::ptrdiff_t>(end));
    const auto seq = AppendBundle(store, errand, *record.value(), part);
    if (seq.has_error()) return seq.error();
    done.bundle_seqs.push_back(*seq);
    errand.touched.news = true;
  }
  return {};
}

Result<void> SendAll(Ledger::Impl& ledger, store::Store& store, Errand& errand) {
  errand.now = ledger.clock.Now();
  for (const AgainLine& line : errand.order.lines) {
    errand.done.refusal = ledger.WhyNoRoom(store);
    if (!errand.done.refusal.empty()) return {};
    Result<void> sent = SendLine(ledger, store, errand, line);
    if (sent.has_error()) return sent;
  }
  return {};
}

/// Counts only: who ordered it is not for the log.
void Log(const AgainDone& done) {
  std::size_t resources = 0;
  std::size_t deliveries = 0;
  for (const AgainDone::Line& line : done.lines) {
    resources += line.resources;
    deliveries += line.bundle_seqs.size();
  }
  if (deliveries == 0) return;
  log::Write(log::Level::kInfo, "sent-again",
             {{"resources", static_cast<std::int64_t>(resources)},
              {"deliveries", static_cast<std::int64_t>(deliveries)}});
}

}  // namespace

void Ledger::SendAgain(AgainOrder order, std::function<void(Result<AgainDone>)> done) {
  auto errand = std::make_shared<Errand>();
  errand->order = std::move(order);
  store::Job job;
  job.weight = limits::kAcceptedLinesMax;
  job.work = [impl = impl_, errand](store::Store& store) { return SendAll(*impl, store, *errand); };
  job.done = [impl = impl_, errand, done = std::move(done)](const Result<void>& committed) {
    impl->Finish(errand->touched, committed);
    if (committed.has_error()) return done(committed.error());
    Log(errand->done);
    done(std::move(errand->done));
  };
  impl_->jobs.Post(std::move(job));
}

}  // namespace dwell::ledger
