// Reads one request after the other from a connection: head as bytes to the gate, then Beast's
// parser for the body, everything bounded in size and time.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/string_body.hpp>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/intake/service.h"
#include "daemon/net/connection.h"

namespace dwell::intake {

/// Bounds of one connection; tests make them small.
struct ConnectionLimits {
  std::size_t body_bytes_max = limits::kBodyBytesMax;
  std::chrono::milliseconds request_time_max = limits::kRequestTimeMax;
  std::chrono::milliseconds idle_time_max = limits::kIdleTimeMax;
};

/// What came next on the connection.
struct Incoming {
  enum class What : std::uint8_t {
    kEnd,      ///< the peer is gone, or a deadline passed: nothing can be answered
    kRefused,  ///< not readable as a request: answer `plan.refusal`, then close
    kRequest,
  };
  What what = What::kEnd;
  Plan plan;
  std::string body;
  bool head_only = false;   ///< method HEAD: the answer has no body
  bool keep_alive = false;  ///< another request may follow
};

class RequestReader {
 public:
  /// Both references outlive the reader.
  RequestReader(net::Connection& connection, Service& service, const ConnectionLimits& limits);

  /// The next request, whole. One deadline from its first byte to its last. "100 Continue" is sent
  /// when asked for, but not when the head alone already decides that the request is refused.
  net::asio::awaitable<Incoming> Next();

  /// Between two requests: nothing of the next one has arrived.
  bool idle() const { return idle_; }

 private:
  using Parser = boost::beast::http::request_parser<boost::beast::http::string_body>;

  std::string_view unread() const { return {buffer_.data() + begin_, end_ - begin_}; }
  void Consume(std::size_t bytes);
  /// Appends what arrives; false when nothing more will, or when the buffer is full.
  net::asio::awaitable<bool> ReadMore();
  /// The size of the head, once all of it has arrived; empty when it never will. A head beyond its
  /// limit counts as arrived: the gate refuses it.
  net::asio::awaitable<std::optional<std::size_t>> ReadHead();
  net::asio::awaitable<Incoming::What> ReadBody(Parser& parser, Incoming& incoming,
                                                bool continue_expected);

  net::Connection& connection_;
  Service& service_;
  ConnectionLimits limits_;
  std::vector<char> buffer_;
  std::size_t begin_ = 0, end_ = 0;
  bool idle_ = true;
};

}  // namespace dwell::intake
