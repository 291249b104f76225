#include "daemon/admin/remap_rows.h"

#include <utility>

#include "daemon/admin/orders.h"
#include "daemon/admin/request.h"
#include "schemas/base/check.h"
#include "schemas/json/writer.h"

namespace dwell::admin {
namespace {

using ledger::Remapped;

/// Said so outright: an order could itself be made from a text.
Result<ledger::RemapOrder, std::string> Refused(std::string why) {
  return {boost::system::in_place_error, std::move(why)};
}

std::string_view StateName(Remapped::State state) {
  switch (state) {
    case Remapped::State::kDiffers:
      return "differs";
    case Remapped::State::kNotKept:
      return "not-kept";
    case Remapped::State::kGivenUp:
      return "given-up";
    case Remapped::State::kNew:
      return "new";
  }
  CHECK(false && "a state without a name");
  return {};
}

void Count(schemas::JsonWriter& out, std::string_view name, std::size_t number) {
  out.MemberInteger(name, static_cast<std::int64_t>(number));
}

void WriteResource(schemas::JsonWriter& out, const Remapped& resource) {
  out.BeginObject();
  out.Member("resource", resource.type + "/" + resource.id);
  out.Member("role", resource.role);
  out.Member("state", StateName(resource.state));
  if (!resource.changes.empty()) {
    out.Name("changes");
    out.BeginArray();
    for (const ledger::Change& change : resource.changes) {
      out.BeginObject();
      out.Member("at", change.pointer);
      if (!change.before.empty()) out.Member("before", change.before);
      if (!change.after.empty()) out.Member("after", change.after);
      out.EndObject();
    }
    out.EndArray();
  }
  out.EndObject();
}

std::string LineRowOf(const ledger::RemappedLine& line) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("source", line.key.source);
  out.Member("line_id", line.key.line_id);
  if (!line.ward.empty()) out.Member("ward", line.ward);
  out.Name("resources");
  out.BeginArray();
  for (const Remapped& resource : line.resources) WriteResource(out, resource);
  out.EndArray();
  Count(out, "same", line.same);
  Count(out, "waiting", line.waiting);
  Count(out, "on_hold", line.on_hold);
  if (!line.bundle_seqs.empty()) {
    out.MemberInteger("delivery", line.bundle_seqs.front());
    WriteNumbers(out, "with_it", std::span(line.bundle_seqs).subspan(1));
  }
  if (!line.trouble.empty()) out.Member("trouble", line.trouble);
  out.EndObject();
  return out.Take() + "\n";
}

}  // namespace

Result<ledger::RemapOrder, std::string> ReadRemapOrder(schemas::Value request) {
  ledger::RemapOrder order;
  order.source = TextOf(request, "source");
  order.line_id = TextOf(request, "line_id");
  order.ward = TextOf(request, "ward");
  order.send = IsSet(request, "send");
  const bool some = !order.source.empty() || !order.line_id.empty() || !order.ward.empty();
  if (some == IsSet(request, "all")) {
    return Refused("which lines are meant: a source, line or ward, or else all");
  }
  if (!order.send) return order;
  order.by = TextOf(request, "by");
  order.why = TextOf(request, "why");
  std::string fault = FaultOfDecision(order.by, order.why);
  if (!fault.empty()) return Refused(std::move(fault));
  return order;
}

void RemapSums::Add(const ledger::RemapPage& page) {
  looked_at += page.looked_at;
  chosen += page.chosen;
  same += page.same;
  not_kept += page.not_kept;
  for (const ledger::RemappedLine& line : page.lines) {
    if (!line.trouble.empty()) ++troubles;
    if (line.resources.empty()) continue;
    ++differ;
    sent += line.bundle_seqs.size();
    if (line.on_hold != 0) ++behind;
    for (const Remapped& resource : line.resources) ++by_type[resource.type];
  }
}

std::string RemapPageRows(const ledger::RemapPage& page, const RemapSums& so_far) {
  std::string text;
  for (const ledger::RemappedLine& line : page.lines) text += LineRowOf(line);
  schemas::JsonWriter out;
  out.BeginObject();
  Count(out, "looked_at", so_far.looked_at);
  Count(out, "of", page.of);
  out.EndObject();
  return text + out.Take() + "\n";
}

std::string RemapSumsRow(const RemapSums& sums) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Name("sums");
  out.BeginObject();
  Count(out, "lines", sums.chosen);
  Count(out, "differ", sums.differ);
  Count(out, "same", sums.same);
  Count(out, "sent", sums.sent);
  Count(out, "troubles", sums.troubles);
  Count(out, "behind_on_hold", sums.behind);
  Count(out, "no_longer_kept", sums.not_kept);
  out.Name("types");
  out.BeginObject();
  for (const auto& [type, count] : sums.by_type) Count(out, type, count);
  out.EndObject();
  out.EndObject();
  out.EndObject();
  return out.Take() + "\n";
}

std::string FollowedRow(const Followed& followed) {
  if (followed.over) return RemapSumsRow(followed.sums);
  schemas::JsonWriter out;
  out.BeginObject();
  Count(out, "looked_at", followed.sums.looked_at);
  Count(out, "of", followed.of);
  if (!followed.waits_for.empty()) out.Member("waits_for", followed.waits_for);
  out.EndObject();
  return out.Take() + "\n";
}

}  // namespace dwell::admin
