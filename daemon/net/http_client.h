// One HTTP/1.1 request and response at a time over a connection that is kept for the next one.
// Never follows redirects, never repeats a request of which the peer may have seen a byte.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/net/connection.h"
#include "daemon/net/exchange.h"
#include "daemon/net/tls_source.h"

namespace dwell::net {

/// Where requests go.
struct Origin {
  std::string host;  ///< name or address, without brackets
  std::string port;
  bool tls = false;
  std::string local_path;  ///< when not empty: a socket of the file system instead
};

class HttpClient {
 public:
  /// `tls` is needed when the origin says so; each connection takes what it then gives. Used on one
  /// thread.
  HttpClient(Origin origin, std::shared_ptr<TlsSource> tls);

  /// Sends and reads, connecting first when needed, all within `time_max`. An idle connection that
  /// the peer closed meanwhile is replaced unnoticed as long as nothing was written. What `request`
  /// points to must live until the answer.
  asio::awaitable<Exchange> Send(const Request& request, std::chrono::milliseconds time_max);

  /// Whether a connection is kept.
  bool connected() const { return connection_ != nullptr; }
  /// Drops the connection; a Send() in progress fails.
  void Close();

 private:
  using Clock = std::chrono::steady_clock;
  class Answer;

  void WriteHead(const Request& request);
  bool Reusable();
  asio::awaitable<bool> Open(Exchange& exchange, std::chrono::milliseconds time_max);
  asio::awaitable<void> Read(Exchange& exchange);

  Origin origin_;
  std::shared_ptr<TlsSource> tls_;
  std::string host_line_;
  std::string head_;
  std::vector<char> buffer_;
  std::unique_ptr<Connection> connection_;
  Clock::time_point opened_{}, used_{};
};

}  // namespace dwell::net
