#include "daemon/admin/rows.h"

#include <array>
#include <utility>

#include "daemon/admin/reconcile_rows.h"
#include "daemon/intake/answers.h"
#include "schemas/json/writer.h"

namespace dwell::admin {
namespace {

std::int64_t Signed(std::uint64_t count) { return static_cast<std::int64_t>(count); }

std::int64_t BytesOf(std::uint64_t pages) { return Signed(pages * store::kPageBytes); }

std::string Finished(const schemas::JsonWriter& out) { return std::string(out.text()) + "\n"; }

/// `names` are those of the two members that say what was counted; the record without them counts
/// what there was no room for.
template <class Record>
void WriteCounted(schemas::JsonWriter& out, std::string_view list, const std::vector<Record>& rows,
                  std::array<std::pair<std::string_view, std::string Record::*>, 2> names) {
  out.Name(list);
  out.BeginArray();
  for (const Record& row : rows) {
    out.BeginObject();
    for (const auto& [name, member] : names) {
      if (!(row.*member).empty()) out.Member(name, row.*member);
    }
    out.MemberInteger("events", Signed(row.events));
    out.Member("first_seen", FormatInstant(row.first_seen));
    out.Member("last_seen", FormatInstant(row.last_seen));
    out.EndObject();
  }
  out.EndArray();
}

/// The store's file, and what the last clean-up did to it.
void WriteFile(schemas::JsonWriter& out, const State& state) {
  out.Name("file");
  out.BeginObject();
  out.MemberInteger("bytes", BytesOf(state.pages.all));
  out.MemberInteger("free_bytes", BytesOf(state.pages.free));
  out.EndObject();
  if (!state.cleaned_up) return;
  out.Name("clean_up");
  out.BeginObject();
  out.Member("at", FormatInstant(state.cleaned_up->at));
  out.MemberInteger("bodies_removed", Signed(state.cleaned_up->bundles));
  out.MemberInteger("lines_no_longer_kept", Signed(state.cleaned_up->lines));
  out.MemberInteger("events_no_longer_kept", Signed(state.cleaned_up->events));
  out.MemberInteger("bytes_given_back", BytesOf(state.cleaned_up->pages));
  out.EndObject();
}

void WriteReconciled(schemas::JsonWriter& out, const reconcile::LastRun& last) {
  out.Name("reconciled");
  out.BeginObject();
  out.Member("at", FormatInstant(last.ended));
  out.Member("since", FormatInstant(last.since));
  out.MemberInteger("findings", Signed(last.tally.findings()));
  WriteTally(out, last.tally);
  out.EndObject();
}

}  // namespace

std::string StatusRow(const store::Counts& counts, const State& state) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("now", FormatInstant(state.now));
  if (state.caught_up_to) out.Member("caught_up_to", FormatInstant(*state.caught_up_to));
  out.MemberBool("draining", state.draining);
  out.MemberInteger("events", Signed(counts.events));
  out.MemberInteger("lines", Signed(counts.lines));
  out.Name("deliveries");
  out.BeginObject();
  out.MemberInteger("ready", Signed(counts.ready));
  out.MemberInteger("in-progress", Signed(counts.in_progress));
  out.MemberInteger("completed", Signed(counts.completed));
  out.MemberInteger("on-hold", Signed(counts.on_hold));
  out.MemberInteger("cancelled", Signed(counts.cancelled));
  out.EndObject();
  if (counts.oldest_waiting) out.Member("oldest_waiting", FormatInstant(*counts.oldest_waiting));
  out.Name("attempts");
  out.BeginObject();
  out.MemberInteger("completed", Signed(state.progress.completed));
  out.MemberInteger("refused", Signed(state.progress.refused));
  out.MemberInteger("again", Signed(state.progress.again));
  out.EndObject();
  out.MemberInteger("in_flight", Signed(state.progress.in_flight));
  if (!state.progress.writes.empty()) out.Member("writes", state.progress.writes);
  if (!state.progress.last_failure.empty()) {
    out.Member("last_failure", state.progress.last_failure);
  }
  if (state.progress.clock_ahead) {
    out.MemberInteger("clock_ahead_s", state.progress.clock_ahead->count());
  }
  WriteFile(out, state);
  if (state.reconciled) WriteReconciled(out, *state.reconciled);
  WriteCounted<store::UnknownCodeRecord>(
      out, "unknown_codes", state.unknown_codes,
      {{{"group", &store::UnknownCodeRecord::group}, {"code", &store::UnknownCodeRecord::code}}});
  WriteCounted<store::DoubtfulIdentifierRecord>(
      out, "doubtful_identifiers", state.doubtful_identifiers,
      {{{"source", &store::DoubtfulIdentifierRecord::source},
        {"system", &store::DoubtfulIdentifierRecord::system}}});
  out.EndObject();
  return Finished(out);
}

std::string QueueRowText(const store::QueueRow& row) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.MemberInteger("delivery", row.bundle_seq);
  out.Member("state", store::DeliveryStateName(row.state));
  out.Member("since", FormatInstant(row.made_at));
  out.Member("source", row.source);
  out.Member("line", row.line_id);
  if (!row.event_id.empty()) out.Member("event", row.event_id);
  out.MemberInteger("attempts", row.attempts);
  if (row.state == store::DeliveryState::kReady && row.not_before > row.made_at) {
    out.Member("not_before", FormatInstant(row.not_before));
  }
  if (row.uncertain) out.MemberBool("uncertain", true);
  if (!row.why.empty()) out.Member("why", row.why);
  intake::WriteDecisions(out, row.decisions, intake::Audience::kOperator);
  out.EndObject();
  return Finished(out);
}

std::string LineRow(const store::LineRecord& line) {
  if (!line.no_longer_kept_since) {
    return line.summary.empty() ? std::string("{}\n") : line.summary + "\n";
  }
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("source", line.key.source);
  out.Member("line_id", line.key.line_id);
  out.Member("phase", "no-longer-kept");
  out.Member("no_longer_kept_since", FormatInstant(*line.no_longer_kept_since));
  out.EndObject();
  return Finished(out);
}

std::string EndRow(std::string_view error) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.MemberBool("end", true);
  if (!error.empty()) out.Member("error", error);
  out.EndObject();
  return Finished(out);
}

}  // namespace dwell::admin
