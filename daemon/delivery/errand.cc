#include "daemon/delivery/errand.h"

#include <utility>

namespace dwell::delivery {

Result<void> Errand::Run(store::Store& store) {
  claimed.clear();
  if (visit.waits_end_by) {
    if (auto done = store.EndWaitsBy(endpoint, *visit.waits_end_by); !done) return done;
  }
  for (const store::Settlement& settlement : visit.settlements) {
    if (auto done = store.Settle(settlement); !done) return done;
  }
  if (visit.holding) {
    const auto& identity = visit.holding->identity;
    const std::string_view words = identity ? IdentityName(*identity) : std::string_view();
    if (auto done = store.KeepIdentity(endpoint, words); !done) return done;
  }
  if (visit.wanted > 0) {
    auto claims = store.Claim(endpoint, visit.now, visit.wanted);
    if (!claims) return claims.error();
    claimed = std::move(*claims);
  }
  auto next = store.NextReady(endpoint);
  if (!next) return next.error();
  next_ready = *next;
  return {};
}

}  // namespace dwell::delivery
