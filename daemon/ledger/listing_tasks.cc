// Tasks derived anew from the events, not read from what was sent: of a line that nobody was told
// of yet they are as right as of any other.
#include <algorithm>
#include <utility>

#include "daemon/ledger/impl.h"
#include "daemon/ledger/issued_code.h"
#include "daemon/ledger/summary.h"

namespace dwell::ledger {
namespace {

/// All of them, also those that were issued once and are withdrawn now.
std::vector<std::string> TasksOf(const Ledger::Impl& ledger, const LineState& state,
                                 const line::Line& line, Instant now) {
  Rules rules = ledger.rules;
  // A search as a reference is for transactions only.
  rules.fhir.patients = fhir::ReferenceForm::kIdentifier;
  rules.fhir.encounters = fhir::ReferenceForm::kIdentifier;
  std::vector<fhir::Issued> issued = state.issued;
  for (fhir::Issued& one : issued) {
    if (one.type == "Task") one.fingerprint = 0;  // made whatever was issued of it
  }
  Derived derived =
      DeriveResources(line, issued, rules, {.recorded = now, .sequence = state.bundles + 1});
  std::vector<std::string> tasks;
  for (fhir::Resource& resource : derived.made.resources) {
    if (resource.type == "Task") tasks.push_back(std::move(resource.json));
  }
  return tasks;
}

Result<void> ListLine(Ledger::Impl& ledger, store::Store& store, TaskPage::Line& row,
                      std::size_t& pieces) {
  const Result<LineState*> loaded = ledger.Load(store, row.key);
  if (loaded.has_error() && loaded.error().kind() == ErrorKind::kData) {
    row.trouble = loaded.error().message();
    return {};
  }
  if (loaded.has_error()) return loaded.error();
  const LineState& state = *loaded.value();
  pieces += state.events.size();
  const auto line = ledger.Derive(state, nullptr);
  if (line.has_error()) {
    row.trouble = "its stored events contradict each other";
    return {};
  }
  row.tasks = TasksOf(ledger, state, *line, ledger.clock.Now());
  return {};
}

Result<void> ListPage(Ledger::Impl& ledger, store::Store& store, const TaskOrder& order,
                      TaskPage& page) {
  page.next = order.from;
  const auto records = store.ListLines(order.from - 1, limits::kRemapLinesMax);
  if (records.has_error()) return records.error();
  page.more = records->size() == limits::kRemapLinesMax;
  std::size_t pieces = 0;
  for (const store::LineRecord& record : records.value()) {
    if (pieces >= limits::kRemapPiecesMax) {
      page.more = true;
      break;
    }
    page.next = record.seq + 1;
    if (record.no_longer_kept_since) continue;
    // What is due at a line that is damaged nobody knows: it is never passed by.
    const bool is_known = !record.damaged && !record.damaged_since;
    if (order.open_only && is_known && !HasDues(record.summary)) continue;
    TaskPage::Line row;
    row.line_seq = record.seq;
    row.key = record.key;
    Result<void> done = ListLine(ledger, store, row, pieces);
    if (done.has_error()) return done;
    if (!row.tasks.empty() || !row.trouble.empty()) page.lines.push_back(std::move(row));
  }
  return {};
}

}  // namespace

void Ledger::ListTasks(TaskOrder order, std::function<void(Result<TaskPage>)> done) {
  auto page = std::make_shared<TaskPage>();
  store::Job job;
  job.weight = limits::kRemapLinesMax;
  job.work = [impl = impl_, order, page](store::Store& store) {
    return ListPage(*impl, store, order, *page);
  };
  job.done = [page, done = std::move(done)](const Result<void>& committed) {
    if (committed.has_error()) return done(committed.error());
    done(std::move(*page));
  };
  impl_->jobs.Post(std::move(job));
}

}  // namespace dwell::ledger
