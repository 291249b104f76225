// Asks an endpoint what it is. Sends no event and changes nothing there; runs beside a daemon, or
// without one.
#pragma once

#include <optional>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/delivery/delivery.h"
#include "daemon/delivery/findings.h"

namespace dwell::delivery {

struct Inquiry {
  std::vector<Finding> findings;
  /// Why the endpoint, or what lets us in, could not be reached at all: kNetwork or kTls.
  std::optional<ErrorKind> unreached;
};

/// GET [base]/metadata, let in as deliveries are: the same TLS, the same token; no redirect is
/// followed. For tokens also GET [base]/.well-known/smart-configuration. Each request within
/// `endpoint.attempt_time_max`. Blocks. Errors: those of Delivery::Start().
Result<Inquiry> Inquire(const Endpoint& endpoint, const Wants& wants, const base::Clock& clock);

}  // namespace dwell::delivery
