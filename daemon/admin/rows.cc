#include "daemon/admin/rows.h"

#include <algorithm>
#include <array>
#include <utility>

#include "daemon/admin/reconcile_rows.h"
#include "daemon/intake/answers.h"
#include "schemas/json/document.h"
#include "schemas/json/write_value.h"
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

void WriteInForce(schemas::JsonWriter& out, const InForce& in_force) {
  out.Name("in_force");
  out.BeginObject();
  out.Member("policy", in_force.policy);
  out.Member("version", in_force.version);
  out.Member("tz_data", in_force.tz_data);
  out.Member("read_at", FormatInstant(in_force.read_at));
  if (in_force.refused_at) out.Member("refused_at", FormatInstant(*in_force.refused_at));
  if (!in_force.needs_restart.empty()) {
    out.Name("needs_restart");
    out.BeginArray();
    for (const std::string& key : in_force.needs_restart) out.String(key);
    out.EndArray();
  }
  if (in_force.to_follow) {
    out.Name("lines_to_follow");
    out.BeginObject();
    out.MemberInteger("looked_at", Signed(in_force.to_follow->looked_at));
    out.MemberInteger("of", Signed(in_force.to_follow->of));
    if (!in_force.to_follow->waits_for.empty())
      out.Member("waits_for", in_force.to_follow->waits_for);
    out.EndObject();
  }
  out.EndObject();
}

/// Nothing when none went through.
void WriteReconciled(schemas::JsonWriter& out, const State& state, const std::string& endpoint) {
  const auto found = std::ranges::find(state.reconciled, endpoint, &reconcile::LastRun::endpoint);
  if (found == state.reconciled.end()) return;
  const reconcile::LastRun& last = *found;
  out.Name("reconciled");
  out.BeginObject();
  out.Member("at", FormatInstant(last.ended));
  out.Member("since", FormatInstant(last.since));
  out.MemberInteger("findings", Signed(last.tally.findings()));
  WriteTally(out, last.tally);
  out.EndObject();
}

void WriteDeliveries(schemas::JsonWriter& out, const store::DeliveryCounts& counts) {
  out.Name("deliveries");
  out.BeginObject();
  out.MemberInteger("ready", Signed(counts.ready));
  out.MemberInteger("in-progress", Signed(counts.in_progress));
  out.MemberInteger("completed", Signed(counts.completed));
  out.MemberInteger("on-hold", Signed(counts.on_hold));
  out.MemberInteger("cancelled", Signed(counts.cancelled));
  out.EndObject();
}

void WriteProgress(schemas::JsonWriter& out, const delivery::Progress& progress) {
  out.Name("attempts");
  out.BeginObject();
  out.MemberInteger("completed", Signed(progress.completed));
  out.MemberInteger("refused", Signed(progress.refused));
  out.MemberInteger("again", Signed(progress.again));
  out.EndObject();
  out.MemberInteger("in_flight", Signed(progress.in_flight));
  if (!progress.writes.empty()) out.Member("writes", progress.writes);
  if (progress.holds) out.Member("holds", delivery::IdentityName(*progress.holds));
  if (!progress.last_failure.empty()) out.Member("last_failure", progress.last_failure);
  if (progress.clock_ahead) out.MemberInteger("clock_ahead_s", progress.clock_ahead->count());
}

/// The sums; of several endpoints the first that has a failure says which it is.
delivery::Progress Together(const std::vector<EndpointState>& endpoints) {
  delivery::Progress sums;
  for (const auto& [name, progress] : endpoints) {
    sums.completed += progress.completed;
    sums.refused += progress.refused;
    sums.again += progress.again;
    sums.in_flight += progress.in_flight;
    if (sums.last_failure.empty() && !progress.last_failure.empty()) {
      sums.last_failure = endpoints.size() > 1 ? name + ": " : "";
      sums.last_failure += progress.last_failure;
    }
    if (!sums.clock_ahead) sums.clock_ahead = progress.clock_ahead;
    if (endpoints.size() > 1) continue;
    sums.writes = progress.writes;
    sums.holds = progress.holds;
  }
  return sums;
}

/// Each that bundles were ever made for.
void WriteEndpoints(schemas::JsonWriter& out, const State& state) {
  out.Name("endpoints");
  out.BeginArray();
  for (const store::EndpointRecord& known : state.known) {
    const auto now = std::ranges::find(state.endpoints, known.name, &EndpointState::name);
    out.BeginObject();
    out.Member("endpoint", known.name);
    out.MemberBool("configured", now != state.endpoints.end());
    WriteDeliveries(out, known);
    if (now != state.endpoints.end()) WriteProgress(out, now->progress);
    WriteReconciled(out, state, known.name);
    out.EndObject();
  }
  out.EndArray();
}

/// Who has not been heard for too long, and how many there are of whom nobody can say yet.
void WriteSilence(schemas::JsonWriter& out, const State& state) {
  std::int64_t not_known = 0;
  out.Name("silent_sources");
  out.BeginArray();
  for (const store::SourceRecord& source : state.sources) {
    const auto limit = store::MayBeQuietFor(source, state.silent_after);
    if (!limit) ++not_known;
    if (!store::IsSilent(source, state.silent_after, state.now)) continue;
    out.BeginObject();
    if (!source.name.empty()) out.Member("source", source.name);
    out.Member("last_event_at", FormatInstant(source.last_event_at));
    out.MemberInteger("expected_within_min", limit->count());
    out.EndObject();
  }
  out.EndArray();
  out.MemberInteger("sources_not_judged", not_known);
}

}  // namespace

std::string StatusRow(const store::Counts& counts, const State& state) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("now", FormatInstant(state.now));
  out.Member("zone", state.zone);
  if (state.wall_ahead.count() != 0) {
    out.MemberInteger("wall_clock_ahead_s", state.wall_ahead.count() / 1000);
  }
  if (state.caught_up_to) out.Member("caught_up_to", FormatInstant(*state.caught_up_to));
  out.MemberBool("draining", state.draining);
  out.MemberInteger("events", Signed(counts.events));
  out.MemberInteger("lines", Signed(counts.lines));
  if (state.damaged_lines > 0) out.MemberInteger("damaged_lines", Signed(state.damaged_lines));
  WriteDeliveries(out, counts);
  if (counts.oldest_waiting) out.Member("oldest_waiting", FormatInstant(*counts.oldest_waiting));
  WriteProgress(out, Together(state.endpoints));
  if (state.known.size() > 1) WriteEndpoints(out, state);
  WriteFile(out, state);
  if (state.in_force) WriteInForce(out, *state.in_force);
  WriteReconciled(out, state, "main");
  WriteSilence(out, state);
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

std::string QueueRowText(const store::QueueRow& row, std::string_view endpoint,
                         bool is_configured) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.MemberInteger("delivery", row.bundle_seq);
  if (!endpoint.empty()) out.Member("endpoint", endpoint);
  if (!is_configured) out.MemberBool("endpoint_configured", false);
  out.Member("state", store::DeliveryStateName(row.state));
  out.Member("since", FormatInstant(row.made_at));
  out.Member("source", row.source);
  out.Member("line", row.line_id);
  if (!row.event_id.empty()) out.Member("event", row.event_id);
  out.MemberInteger("attempts", row.attempts);
  if (row.state == store::DeliveryState::kReady && row.not_before > Instant{}) {
    out.Member("not_before", FormatInstant(row.not_before));
  }
  if (row.uncertain) out.MemberBool("uncertain", true);
  if (!row.why.empty()) out.Member("why", row.why);
  intake::WriteDecisions(out, row.decisions, intake::Audience::kOperator);
  out.EndObject();
  return Finished(out);
}

namespace {

/// The last that was known of a line that is damaged: where to look for the patient. Its dues are
/// left out: they are not known.
void WriteLastKnown(schemas::JsonWriter& out, std::string_view summary) {
  const auto document = schemas::Document::Parse(summary);
  if (!document || !document->root().is_object()) return;
  for (const std::string_view name : {"patient", "ward", "bay", "bed", "kind", "site", "since"}) {
    const auto known = document->root().Find(name);
    if (!known) continue;
    out.Name(name);
    schemas::WriteValue(out, *known);
  }
}

std::string DamagedLineRow(const store::LineRecord& line) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("source", line.key.source);
  out.Member("line_id", line.key.line_id);
  out.Member("phase", "unreadable");
  if (line.damaged_since) out.Member("damaged_since", FormatInstant(*line.damaged_since));
  if (!line.damaged) WriteLastKnown(out, line.summary);
  out.EndObject();
  return Finished(out);
}

}  // namespace

std::string LineRow(const store::LineRecord& line) {
  if (line.damaged || line.damaged_since) return DamagedLineRow(line);
  if (!line.no_longer_kept_since && !line.summary.empty()) return line.summary + "\n";
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("source", line.key.source);
  out.Member("line_id", line.key.line_id);
  out.Member("phase", line.no_longer_kept_since ? "no-longer-kept" : "unreadable");
  if (line.no_longer_kept_since) {
    out.Member("no_longer_kept_since", FormatInstant(*line.no_longer_kept_since));
  }
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
