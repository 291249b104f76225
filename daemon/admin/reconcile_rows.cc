#include "daemon/admin/reconcile_rows.h"

#include <algorithm>
#include <charconv>
#include <utility>

#include "daemon/admin/orders.h"
#include "daemon/admin/request.h"
#include "schemas/json/writer.h"

namespace dwell::admin {
namespace {

using reconcile::Finding;

void Count(schemas::JsonWriter& out, std::string_view name, std::size_t number) {
  out.MemberInteger(name, static_cast<std::int64_t>(number));
}

/// Said so outright: an order could itself be made from a text.
Result<reconcile::Order, std::string> Refused(std::string why) {
  return {boost::system::in_place_error, std::move(why)};
}

std::string NoSuch(const std::string& endpoint, const std::vector<std::string>& endpoints) {
  std::string words = "no endpoint has the name " + endpoint + "; there ";
  words += endpoints.size() == 1 ? "is" : "are";
  for (const std::string& name : endpoints) {
    words += (&name == &endpoints.front() ? " " : ", ") + name;
  }
  return words;
}

void WriteKey(schemas::JsonWriter& out, const line::Key& key) {
  out.Member("source", key.source);
  out.Member("line_id", key.line_id);
}

void WriteDifferences(schemas::JsonWriter& out, const Finding& finding) {
  if (finding.differences.empty()) return;
  out.Name("differences");
  out.BeginArray();
  for (const reconcile::Difference& one : finding.differences) {
    out.BeginObject();
    out.Member("at", one.pointer);
    if (!one.sent.empty()) out.Member("sent", one.sent);
    if (!one.held.empty()) out.Member("held", one.held);
    out.EndObject();
  }
  out.EndArray();
  if (finding.more != 0) Count(out, "more", finding.more);
}

std::string FindingRow(const Finding& finding) {
  schemas::JsonWriter out;
  out.BeginObject();
  const bool is_of_type = finding.grade == reconcile::Grade::kForbidden;
  out.Member("resource", is_of_type ? finding.type : finding.type + "/" + finding.id);
  out.Member("grade", reconcile::GradeName(finding.grade));
  if (is_of_type) {
    out.Member("why", finding.why);
    out.EndObject();
    return out.Take() + "\n";
  }
  WriteKey(out, finding.key);
  if (!finding.ward.empty()) out.Member("ward", finding.ward);
  out.MemberInteger("delivery", finding.bundle_seq);
  out.Member("accepted_at", FormatInstant(finding.accepted_at));
  if (finding.changed_since) out.MemberBool("changed_since", true);
  if (!finding.why.empty()) out.Member("why", finding.why);
  WriteDifferences(out, finding);
  out.EndObject();
  return out.Take() + "\n";
}

std::string SentRow(const reconcile::Sent& sent) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Name("sent");
  out.BeginObject();
  WriteKey(out, sent.key);
  out.Name("deliveries");
  out.BeginArray();
  for (const std::int64_t seq : sent.bundle_seqs) out.Integer(seq);
  out.EndArray();
  Count(out, "resources", sent.resources);
  if (sent.left_out != 0) Count(out, "left_out", sent.left_out);
  out.EndObject();
  out.EndObject();
  return out.Take() + "\n";
}

std::string TroubleRow(const reconcile::Trouble& trouble) {
  schemas::JsonWriter out;
  out.BeginObject();
  WriteKey(out, trouble.key);
  out.Member("trouble", trouble.why);
  out.EndObject();
  return out.Take() + "\n";
}

std::string ProgressRow(const reconcile::Step& step) {
  schemas::JsonWriter out;
  out.BeginObject();
  Count(out, "looked_at", step.tally.looked_at);
  Count(out, "of", step.tally.of);
  Count(out, "compared", step.tally.compared);
  if (!step.waiting.empty()) out.Member("waiting", step.waiting);
  out.EndObject();
  return out.Take() + "\n";
}

std::string SumsRow(const reconcile::Tally& tally, std::string_view endpoint) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Name("sums");
  out.BeginObject();
  if (!endpoint.empty()) out.Member("endpoint", endpoint);
  WriteTally(out, tally);
  out.EndObject();
  out.EndObject();
  return out.Take() + "\n";
}

}  // namespace

std::optional<Instant> ReadTime(std::string_view text, Instant now) {
  if (const auto moment = ReadMoment(text)) return moment->instant;
  constexpr int kMost = 100'000;  // hours: eleven years; of days it is more than anybody kept
  int number = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool is_short = error == std::errc() && stop + 1 == text.data() + text.size();
  if (!is_short || number < 0 || number > kMost) return std::nullopt;
  if (*stop == 'd') return now - std::chrono::days(number);
  if (*stop == 'h') return now - std::chrono::hours(number);
  return std::nullopt;
}

Result<reconcile::Order, std::string> ReadReconcileOrder(
    schemas::Value request, Instant now, const std::vector<std::string>& endpoints) {
  reconcile::Order order;
  const std::string endpoint = TextOf(request, "endpoint");
  if (!endpoint.empty()) {
    order.endpoint = endpoint;
    order.accepted.never_sent = true;
    if (std::ranges::count(endpoints, endpoint) == 0) return Refused(NoSuch(endpoint, endpoints));
  }
  const auto since = ReadTime(TextOf(request, "since"), now);
  if (!since) {
    return Refused("since when: a date-time with offset, or a number of days or hours as 3d, 36h");
  }
  order.accepted.since = *since;
  const std::string end = TextOf(request, "until");
  const auto until = end.empty() ? std::optional(Instant::max()) : ReadTime(end, now);
  if (!until || *until < *since) {
    return Refused("until when: as since, and not before it");
  }
  order.accepted.until = *until;
  order.accepted.source = TextOf(request, "source");
  order.accepted.line_id = TextOf(request, "line_id");
  order.accepted.ward = TextOf(request, "ward");
  order.send = IsSet(request, "send");
  order.overwrite = IsSet(request, "overwrite");
  if (!order.send && order.overwrite) return Refused("overwrite goes with send only");
  if (!order.send) return order;
  order.by = TextOf(request, "by");
  order.why = TextOf(request, "why");
  std::string fault = FaultOfDecision(order.by, order.why);
  if (!fault.empty()) return Refused(std::move(fault));
  return order;
}

std::string ReconcileRows(const reconcile::Step& step, std::string_view endpoint) {
  std::string text;
  for (const Finding& finding : step.findings) text += FindingRow(finding);
  for (const reconcile::Sent& sent : step.sent) text += SentRow(sent);
  for (const reconcile::Trouble& trouble : step.troubles) text += TroubleRow(trouble);
  text += ProgressRow(step);
  if (step.done) text += SumsRow(step.tally, endpoint);
  return text;
}

void WriteTally(schemas::JsonWriter& out, const reconcile::Tally& tally) {
  Count(out, "lines", tally.lines);
  Count(out, "compared", tally.compared);
  Count(out, "wrong_patient", tally.wrong_patient);
  Count(out, "doubled", tally.doubled);
  Count(out, "missing", tally.missing);
  Count(out, "differs", tally.differs);
  Count(out, "unreadable", tally.unreadable);
  Count(out, "forbidden", tally.forbidden);
  Count(out, "changed_since", tally.changed_since);
  Count(out, "never_sent", tally.never_sent);
  Count(out, "on_its_way", tally.on_its_way);
  Count(out, "given_up", tally.given_up);
  Count(out, "not_kept", tally.not_kept);
  Count(out, "troubles", tally.troubles);
  Count(out, "sent", tally.sent);
  Count(out, "deliveries", tally.deliveries);
}

}  // namespace dwell::admin
