// A byte stream to a peer, plain or TLS, behind one face, so that no other file instantiates Asio's
// stream templates.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <chrono>
#include <memory>
#include <span>
#include <string>
#include <string_view>

#include "daemon/net/tls.h"
#include "schemas/base/result.h"

namespace dwell::net {

namespace asio = boost::asio;

/// How an input or output operation ended.
struct Io {
  boost::system::error_code error;  ///< asio::error::eof at the end; timed_out after the deadline
  std::size_t bytes = 0;            ///< moved before the error, if any
};

/// Every operation honours the deadline set last. One reader and one writer at a time, all on the
/// thread of the connection's executor. Any error leaves the connection fit only for Close().
class Connection {
 public:
  virtual ~Connection() = default;
  /// Waits for at least one byte. A TLS stream that ends without close_notify is an error, not eof.
  virtual asio::awaitable<Io> ReadSome(std::span<char> into) = 0;
  /// Writes all of `first`, then all of `second`; both must stay alive until then.
  virtual asio::awaitable<Io> Write(std::string_view first, std::string_view second = {}) = 0;
  /// Ends the stream politely (TLS close_notify), as far as the peer cooperates.
  virtual asio::awaitable<void> Finish() = 0;
  /// Operations in progress fail.
  virtual void Close() = 0;
  /// Closes so that the peer sees a reset instead of an end.
  virtual void Reset() = 0;
  /// From now on operations fail with timed_out after `after`; counted by the steady clock.
  /// Cheap: a deadline later than the last one costs no timer operation.
  virtual void Deadline(std::chrono::milliseconds after) = 0;
  /// Whether an idle connection is open and has nothing to read: the peer has neither closed it nor
  /// sent something nobody asked for. Never waits.
  virtual bool Quiet() = 0;
};

using ConnectionResult = Result<std::unique_ptr<Connection>>;

/// An accepted socket as a connection; with `tls`, after the handshake, which `deadline` bounds.
/// The deadline stays set until Deadline() moves it.
asio::awaitable<ConnectionResult> Serve(asio::ip::tcp::socket socket, const TlsContext* tls,
                                        std::chrono::milliseconds deadline);

/// The same for a socket of the file system; the caller decides who may reach the file.
std::unique_ptr<Connection> ServeLocal(asio::local::stream_protocol::socket socket,
                                       std::chrono::milliseconds deadline);

/// Resolves anew each time, connects (all addresses in turn, each with its share of the time) and
/// with `tls` shakes hands and verifies that the certificate is for `host`, a name or an address
/// without brackets. Errors: kNetwork, kTls, each with its reason in words.
asio::awaitable<ConnectionResult> Connect(std::string host, std::string port, const TlsContext* tls,
                                          std::chrono::milliseconds deadline);

/// Connects to a socket of the file system. Errors: kNetwork.
asio::awaitable<ConnectionResult> ConnectLocal(std::string path,
                                               std::chrono::milliseconds deadline);

}  // namespace dwell::net
