// The practice endpoint as a server: a small FHIR R4 receiver in memory with switchable
// misbehaviour, for tests, the bench and the demo. Own thread, own event loop.
#pragma once

#include <memory>

#include "daemon/net/tls.h"
#include "tests/endpoint/desk.h"

namespace practice {

struct EndpointOptions {
  std::uint16_t port = 0;  ///< 0: any free one
  std::optional<dwell::net::TlsFiles> tls;
  Keep keep = Keep::kHistory;
};

class PracticeEndpoint {
 public:
  /// Listens on the loopback address. Errors: kBusy (port in use), kTls.
  static dwell::Result<std::unique_ptr<PracticeEndpoint>> Start(const EndpointOptions& options);
  virtual ~PracticeEndpoint() = default;

  virtual std::uint16_t port() const = 0;
  /// "http://localhost:PORT/fhir" or https.
  virtual std::string url() const = 0;
  virtual Desk& desk() = 0;
  /// Closes the listener (connections are refused from now on) and all connections; and opens it
  /// again.
  virtual void GoDown() = 0;
  virtual bool ComeBack() = 0;
};

}  // namespace practice
