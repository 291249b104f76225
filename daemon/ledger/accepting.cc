// What an endpoint accepted of lines in a period.
#include <algorithm>
#include <map>
#include <utility>

#include "daemon/ledger/held.h"
#include "daemon/ledger/impl.h"
#include "daemon/ledger/issued_code.h"
#include "daemon/ledger/never_sent.h"
#include "daemon/ledger/summary.h"
#include "schemas/json/write_value.h"

namespace dwell::ledger {
namespace {

using store::BundleRecord;
using store::DeliveryState;

/// What is known of one resource while the line's deliveries are gone through, the newest first.
struct Seen {
  bool is_open = false;  ///< the newest delivery with it is not completed
  bool is_meant = false;
  Accepted accepted;
};

/// Gathers what one line has.
class Gathering {
 public:
  explicit Gathering(const AcceptedOrder& order) : order_(order) {}

  bool IsMeant(const BundleRecord& bundle) const {
    return bundle.settled_at && bundle.state == DeliveryState::kCompleted &&
           *bundle.settled_at >= order_.since && *bundle.settled_at <= order_.until;
  }

  /// False: its body cannot be read.
  bool Take(const BundleRecord& bundle) {
    return ReadEntries(bundle.body, [&](std::string_view name, schemas::Value resource) {
      const auto [at, is_new] = seen_.try_emplace(std::string(name));
      Seen& seen = at->second;
      seen.is_meant = seen.is_meant || IsMeant(bundle);
      if (!is_new) return;
      order_seen_.push_back(at->first);
      seen.is_open = bundle.state != DeliveryState::kCompleted;
      if (!seen.is_open) seen.accepted = Read(bundle, name, resource);
    });
  }

  void Finish(const std::vector<fhir::Issued>& issued, AcceptedLine& line) {
    for (const std::string& name : order_seen_) {
      Seen& seen = seen_.at(name);
      if (!seen.is_meant) continue;
      const bool is_given_up = std::ranges::any_of(issued, [&](const fhir::Issued& one) {
        return IsForgotten(one) && one.type + "/" + one.id == name;
      });
      if (seen.is_open) {
        ++line.on_its_way;
      } else if (is_given_up) {
        ++line.given_up;
      } else {
        line.resources.push_back(std::move(seen.accepted));
      }
    }
  }

 private:
  static Accepted Read(const BundleRecord& bundle, std::string_view name, schemas::Value resource) {
    Accepted accepted;
    const std::size_t slash = std::min(name.find('/'), name.size());
    accepted.type = name.substr(0, slash);
    accepted.id = name.substr(std::min(slash + 1, name.size()));
    schemas::JsonWriter json;
    schemas::WriteValue(json, resource);
    accepted.json = json.Take();
    accepted.bundle_seq = bundle.seq;
    accepted.at = *bundle.settled_at;
    return accepted;
  }

  const AcceptedOrder& order_;
  std::map<std::string, Seen> seen_;
  std::vector<std::string> order_seen_;
};

Result<void> Gather(store::Store& store, const AcceptedOrder& order,
                    const store::LineRecord& record, AcceptedLine& line, std::size_t& pieces) {
  const auto bundles = OfEndpoint(store.BundlesSince(record.seq, order.since), order.endpoint);
  if (bundles.has_error()) return bundles.error();
  Gathering gathering(order);
  const bool is_any = std::ranges::any_of(
      bundles.value(), [&](const BundleRecord& bundle) { return gathering.IsMeant(bundle); });
  if (!is_any) return {};
  for (const BundleRecord& listed : bundles.value()) {
    if (!listed.kept || record.no_longer_kept_since) {
      line.not_kept += gathering.IsMeant(listed) ? 1 : 0;
      continue;
    }
    const auto bundle = store.FindBundle(listed.seq);
    if (bundle.has_error()) return bundle.error();
    ++pieces;
    if (gathering.Take(*bundle.value())) continue;
    line.trouble = "delivery " + std::to_string(listed.seq) + " can no longer be read";
    return {};
  }
  if (record.no_longer_kept_since) return {};
  const auto issued = record.damaged ? std::nullopt : DecodeIssued(record.issued);
  if (!issued) {
    line.trouble = "what was issued of it can no longer be read";
    return {};
  }
  gathering.Finish(*issued, line);
  return {};
}

Result<void> GatherNeverSent(store::Store& store, const Rules& rules, const AcceptedOrder& order,
                             const store::LineRecord& record, AcceptedLine& line,
                             std::size_t& pieces) {
  if (!order.never_sent) return {};
  const auto found = FindNeverSent(store, rules, record, order.endpoint, pieces);
  if (found.has_error()) return found.error();
  for (const NeverSent& one : found.value()) {
    if (one.at < order.since || one.at > order.until) continue;
    line.never_sent.push_back({one.resource.type + "/" + one.resource.id, one.bundle_seq, true});
  }
  return {};
}

Result<void> ListPage(store::Store& store, const Rules& rules, const AcceptedOrder& order,
                      AcceptedPage& page) {
  page.of = store.counts().lines;
  page.after = order.after;
  const auto records = store.ListLines(page.after, limits::kAcceptedLinesMax);
  if (records.has_error()) return records.error();
  page.more = records->size() == limits::kAcceptedLinesMax;
  std::size_t pieces = 0;
  for (const store::LineRecord& record : records.value()) {
    if (pieces >= limits::kAcceptedBundlesMax) {
      page.more = true;
      break;
    }
    if (IsMeant(record, order.source, order.line_id, order.ward)) {
      AcceptedLine line;
      line.line_seq = record.seq;
      line.key = record.key;
      line.ward = WardIn(record.summary);
      Result<void> done = Gather(store, order, record, line, pieces);
      if (done.has_value()) done = GatherNeverSent(store, rules, order, record, line, pieces);
      if (done.has_error()) return done;
      const bool is_anything = !line.resources.empty() || !line.never_sent.empty() ||
                               line.on_its_way + line.given_up != 0 || line.not_kept != 0 ||
                               !line.trouble.empty();
      if (is_anything) page.lines.push_back(std::move(line));
    }
    ++page.looked_at;
    page.after = record.seq;
  }
  return {};
}

}  // namespace

void Ledger::ListAccepted(AcceptedOrder order, std::function<void(Result<AcceptedPage>)> done) {
  auto page = std::make_shared<AcceptedPage>();
  store::Job job;
  job.weight = limits::kAcceptedLinesMax;
  job.work = [impl = impl_, order = std::move(order), page](store::Store& store) {
    return ListPage(store, impl->rules, order, *page);
  };
  job.done = [page, done = std::move(done)](const Result<void>& committed) {
    if (committed.has_error()) return done(committed.error());
    done(std::move(*page));
  };
  impl_->jobs.Post(std::move(job));
}

}  // namespace dwell::ledger
