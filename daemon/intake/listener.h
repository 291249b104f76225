// An HTTP server of ours: accepts connections, reads requests, asks its service, answers.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "daemon/base/clock.h"
#include "daemon/intake/request_reader.h"
#include "daemon/net/tls_source.h"

namespace dwell::intake {

struct ListenerOptions {
  std::string address = "127.0.0.1";    ///< an IP address of this machine
  std::uint16_t port = 8080;            ///< 0: any free one, see port()
  std::shared_ptr<net::TlsSource> tls;  ///< null: plain
  std::size_t connections_max = limits::kConnectionsMax;
  ConnectionLimits connection;
};

/// Everything happens on the one thread that runs `executor`.
class Listener {
 public:
  /// Listens and begins to accept. `service` and `clock` outlive every connection. Errors: kBusy
  /// (address in use), kConfig (no such address), kNetwork.
  static Result<std::unique_ptr<Listener>> Open(const net::asio::any_io_executor& executor,
                                                Service& service, const base::Clock& clock,
                                                ListenerOptions options);
  ~Listener();

  std::uint16_t port() const;
  /// Connections open now.
  std::size_t connections() const;
  /// Accepts no more, closes idle connections, lets the others finish their request; `done` is
  /// called when the last one is gone (at once, if there is none).
  void Drain(std::function<void()> done);

  struct State;

 private:
  explicit Listener(std::shared_ptr<State> state);
  std::shared_ptr<State> state_;
};

}  // namespace dwell::intake
