// A byte stream to a peer, plain or TLS, behind one face, so that no other file instantiates Asio's
// stream templates.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <chrono>
#include <memory>
#include <span>
#include <string>

#include "schemas/base/result.h"

namespace dwell::net {

namespace asio = boost::asio;

/// How an input or output operation ended.
struct Io {
  boost::system::error_code error;  ///< asio::error::eof at the end; timed_out after the deadline
  std::size_t bytes = 0;
};

/// Every operation honours the deadline set last. One reader and one writer at a time.
/// Fails: any error leaves the connection fit only for Close().
class Connection {
 public:
  virtual ~Connection() = default;
  virtual asio::awaitable<Io> ReadSome(std::span<char> into) = 0;
  /// Writes all of `first`, then all of `second`.
  virtual asio::awaitable<Io> Write(std::string_view first, std::string_view second = {}) = 0;
  /// Ends the stream politely (TLS close_notify), as far as the peer cooperates.
  virtual asio::awaitable<void> Finish() = 0;
  virtual void Close() = 0;
  /// From now on operations fail with timed_out after `after`; counted by the steady clock.
  virtual void Deadline(std::chrono::milliseconds after) = 0;
};

/// Files of a TLS end; empty means: not used.
struct TlsFiles {
  std::string certificate_chain;  ///< PEM, our own certificate
  std::string private_key;        ///< PEM
  std::string authorities;        ///< PEM, whom we trust; empty for a client: the system's
};

/// TLS 1.2 or newer, for one end. Copies share.
class TlsContext {
 public:
  static Result<TlsContext> Server(const TlsFiles& files);
  static Result<TlsContext> Client(const TlsFiles& files);

  struct Impl;
  const std::shared_ptr<Impl>& impl() const { return impl_; }

 private:
  std::shared_ptr<Impl> impl_;
};

/// An accepted socket as a connection; with `tls`, after the handshake.
asio::awaitable<Result<std::unique_ptr<Connection>>> Serve(asio::ip::tcp::socket socket,
                                                           const TlsContext* tls,
                                                           std::chrono::milliseconds deadline);

/// Resolves, connects (all addresses in turn) and with `tls` shakes hands and verifies that the
/// certificate is for `host`. Errors: kNetwork, kTls, each with its reason in words.
asio::awaitable<Result<std::unique_ptr<Connection>>> Connect(std::string host, std::string port,
                                                             const TlsContext* tls,
                                                             std::chrono::milliseconds deadline);

}  // namespace dwell::net
