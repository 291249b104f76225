#include "daemon/reconcile/as_written.h"

#include "daemon/delivery/rewrite.h"
#include "mapping/fhir/bundle.h"

namespace dwell::reconcile {

using delivery::Identity;
using delivery::Interaction;

AsWritten WrittenBy(const ledger::Accepted& accepted, Interaction interaction, Identity identity) {
  const bool is_ours = identity == Identity::kUpdateAsCreate;
  if (is_ours && interaction == Interaction::kTransaction) return {"", accepted.json};
  if (!delivery::IsOwn(accepted.type + "/" + accepted.id)) return {};
  const std::string frozen =
      fhir::TransactionBundle({{accepted.type, accepted.id, accepted.json, {}}});
  std::vector<delivery::Entry> entries = delivery::EntriesOf(frozen, Interaction::kBatch, identity);
  if (entries.empty()) return {};
  delivery::Entry& entry = entries.front();
  AsWritten written;
  written.json = std::move(entry.resource);
  if (is_ours) return written;
  written.is_final = !entry.if_none_exist.empty();
  written.search = entry.if_none_exist.empty() ? entry.url : entry.url + "?" + entry.if_none_exist;
  return written;
}

}  // namespace dwell::reconcile
