#include "daemon/net/connection.h"

#include <poll.h>
#include <sys/un.h>

#include <array>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/generic/stream_protocol.hpp>
#include <boost/asio/ip/address.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/asio/write.hpp>

#include "daemon/net/resolve.h"
#include "daemon/net/tls_impl.h"
#include "daemon/net/watch.h"

namespace dwell::net {
namespace {

using Socket = Watch::Socket;
using std::chrono::milliseconds;

// Awaiting an operation directly, without a coroutine frame of its own; errors come as values.
constexpr auto kAwait = asio::as_tuple(asio::deferred);

/// Two buffers, of which some bytes are already gone.
class Pieces {
 public:
  Pieces(std::string_view first, std::string_view second)
      : buffers_{asio::buffer(first), asio::buffer(second)}, left_(first.size() + second.size()) {}

  const std::array<asio::const_buffer, 2>& buffers() const { return buffers_; }
  bool empty() const { return left_ == 0; }
  void Consume(std::size_t bytes) {
    left_ -= bytes;
    const std::size_t from_first = std::min(bytes, buffers_[0].size());
    buffers_[0] += from_first;
    buffers_[1] += bytes - from_first;
  }

 private:
  std::array<asio::const_buffer, 2> buffers_;
  std::size_t left_;
};

bool NothingToRead(Socket& socket) {
  if (!socket.is_open()) return false;
  pollfd look{.fd = socket.native_handle(), .events = POLLIN | POLLRDHUP, .revents = 0};
  return ::poll(&look, 1, 0) == 0;
}

void ResetSocket(Socket& socket) {
  boost::system::error_code ignored;
  socket.set_option(asio::socket_base::linger(true, 0), ignored);
  socket.close(ignored);
}

class PlainConnection final : public Connection {
 public:
  PlainConnection(Socket socket, milliseconds deadline)
      : socket_(std::move(socket)), watch_(std::make_shared<Watch>(socket_)) {
    boost::system::error_code ignored;
    socket_.non_blocking(true, ignored);
    watch_->Set(deadline);
  }
  ~PlainConnection() override { watch_->Release(); }

  asio::awaitable<Io> ReadSome(std::span<char> into) override {
    const auto room = asio::buffer(into.data(), into.size());
    auto [error, bytes] = co_await socket_.async_read_some(room, kAwait);
    Io io;
    io.error = watch_->Judge(error);
    io.bytes = bytes;
    co_return io;
  }

  asio::awaitable<Io> Write(std::string_view first, std::string_view second) override {
    Pieces pieces(first, second);
    Io io;
    while (!pieces.empty()) {
      // Almost always there is room in the socket; then no trip through the event loop is needed.
      boost::system::error_code error;
      std::size_t bytes = socket_.write_some(pieces.buffers(), error);
      if (error == asio::error::would_block) {
        std::tie(error, bytes) = co_await socket_.async_write_some(pieces.buffers(), kAwait);
      }
      io.bytes += bytes;
      pieces.Consume(bytes);
      if (error) {
        io.error = watch_->Judge(error);
        break;
      }
    }
    co_return io;
  }

  asio::awaitable<void> Finish() override {
    boost::system::error_code ignored;
    socket_.shutdown(Socket::shutdown_send, ignored);
    co_return;
  }

  void Close() override {
    boost::system::error_code ignored;
    socket_.close(ignored);
  }
  void Reset() override { ResetSocket(socket_); }
  void Deadline(milliseconds after) override { watch_->Set(after); }
  bool Quiet() override { return NothingToRead(socket_); }

 private:
  Socket socket_;
  std::shared_ptr<Watch> watch_;
};

class TlsConnection final : public Connection {
 public:
  TlsConnection(Socket socket, const TlsContext& tls, milliseconds deadline)
      : tls_(tls),
        stream_(std::move(socket), tls_.impl().context),
        watch_(std::make_shared<Watch>(stream_.next_layer())) {
    watch_->Set(deadline);
  }
  ~TlsConnection() override { watch_->Release(); }

  /// Empty when the handshake succeeded; otherwise why not.
  asio::awaitable<std::string> Handshake(asio::ssl::stream_base::handshake_type type) {
    auto [error] = co_await stream_.async_handshake(type, kAwait);
    const boost::system::error_code judged = watch_->Judge(error);
    if (!judged) co_return std::string();
    const long verdict = SSL_get_verify_result(stream_.native_handle());
    if (verdict != X509_V_OK && judged != asio::error::timed_out) {
      co_return std::string(X509_verify_cert_error_string(verdict));
    }
    co_return judged.message();
  }

  /// Demands that the peer's certificate is for `host`. Before the handshake.
  bool Expect(std::string host) {
    SSL* const ssl = stream_.native_handle();
    X509_VERIFY_PARAM* const rules = SSL_get0_param(ssl);
    boost::system::error_code not_an_address;
    asio::ip::make_address(host, not_an_address);
    if (!not_an_address) return X509_VERIFY_PARAM_set1_ip_asc(rules, host.c_str()) == 1;
    X509_VERIFY_PARAM_set_hostflags(rules, X509_CHECK_FLAG_NO_PARTIAL_WILDCARDS);
    // What SSL_set_tlsext_host_name() does, without its C cast.
    return SSL_ctrl(ssl, SSL_CTRL_SET_TLSEXT_HOSTNAME, TLSEXT_NAMETYPE_host_name, host.data()) ==
               1 &&
           SSL_set1_host(ssl, host.c_str()) == 1;
  }

  asio::awaitable<Io> ReadSome(std::span<char> into) override {
    const auto room = asio::buffer(into.data(), into.size());
    auto [error, bytes] = co_await stream_.async_read_some(room, kAwait);
    Io io;
    io.error = watch_->Judge(error);
    io.bytes = bytes;
    co_return io;
  }

  asio::awaitable<Io> Write(std::string_view first, std::string_view second) override {
    // Small writes go out as one record instead of two.
    constexpr std::size_t kJoinBytesMax = std::size_t{16} * 1024;
    if (!second.empty() && first.size() + second.size() <= kJoinBytesMax) {
      joined_.assign(first).append(second);
      first = joined_;
      second = {};
    }
    const Pieces pieces(first, second);
    auto [error, bytes] = co_await asio::async_write(stream_, pieces.buffers(), kAwait);
    Io io;
    io.error = watch_->Judge(error);
    io.bytes = bytes;
    co_return io;
  }

  asio::awaitable<void> Finish() override {
    auto [ignored] = co_await stream_.async_shutdown(kAwait);
    static_cast<void>(ignored);
  }

  void Close() override {
    boost::system::error_code ignored;
    stream_.next_layer().close(ignored);
  }
  void Reset() override { ResetSocket(stream_.next_layer()); }
  void Deadline(milliseconds after) override { watch_->Set(after); }
  bool Quiet() override {
    return SSL_pending(stream_.native_handle()) == 0 && NothingToRead(stream_.next_layer());
  }

 private:
  TlsContext tls_;  // the stream needs it
  asio::ssl::stream<Socket> stream_;
  std::shared_ptr<Watch> watch_;
  std::string joined_;
};

asio::awaitable<ConnectionResult> Shake(std::unique_ptr<TlsConnection> connection,
                                        asio::ssl::stream_base::handshake_type type,
                                        std::string with) {
  const std::string failure = co_await connection->Handshake(type);
  if (!failure.empty()) co_return Error(ErrorKind::kTls, "TLS with " + with + ": " + failure);
  co_return std::move(connection);
}

/// Tries one address for at most `time_max`.
asio::awaitable<boost::system::error_code> TryAddress(Socket& socket,
                                                      const asio::ip::tcp::endpoint& address,
                                                      milliseconds time_max) {
  boost::system::error_code error;
  socket.open(asio::generic::stream_protocol(address.protocol()), error);
  if (error) co_return error;
  const auto watch = std::make_shared<Watch>(socket);
  watch->Set(time_max);
  std::tie(error) = co_await socket.async_connect(address, kAwait);
  error = watch->Judge(error);
  watch->Release();
  if (error) {
    boost::system::error_code ignored;
    socket.close(ignored);
  }
  co_return error;
}

void SendAtOnce(Socket& socket) {
  boost::system::error_code ignored;
  socket.set_option(asio::ip::tcp::no_delay(true), ignored);
}

}  // namespace

asio::awaitable<ConnectionResult> Serve(asio::ip::tcp::socket socket, const TlsContext* tls,
                                        milliseconds deadline) {
  Socket stream(std::move(socket));
  SendAtOnce(stream);
  if (tls == nullptr) co_return std::make_unique<PlainConnection>(std::move(stream), deadline);
  auto connection = std::make_unique<TlsConnection>(std::move(stream), *tls, deadline);
  co_return co_await Shake(std::move(connection), asio::ssl::stream_base::server, "a client");
}

std::unique_ptr<Connection> ServeLocal(asio::local::stream_protocol::socket socket,
                                       milliseconds deadline) {
  return std::make_unique<PlainConnection>(Socket(std::move(socket)), deadline);
}

asio::awaitable<ConnectionResult> Connect(std::string host, std::string port, const TlsContext* tls,
                                          milliseconds deadline) {
  const auto start = std::chrono::steady_clock::now();
  const auto left = [start, deadline] {
    const auto spent = std::chrono::steady_clock::now() - start;
    return std::max(milliseconds(0), deadline - std::chrono::duration_cast<milliseconds>(spent));
  };
  const auto addresses = co_await Resolve(host, port, deadline);
  if (!addresses) co_return addresses.error();

  Socket socket(co_await asio::this_coro::executor);
  boost::system::error_code error = asio::error::host_not_found;
  std::size_t untried = addresses->size();
  for (const asio::ip::tcp::endpoint& address : *addresses) {
    const milliseconds share = left() / untried--;
    error = co_await TryAddress(socket, address, share);
    if (!error) break;
  }
  const std::string peer = host + " port " + port;
  if (error) {
    co_return Error(ErrorKind::kNetwork, "no connection to " + peer + ": " + error.message());
  }
  SendAtOnce(socket);
  if (tls == nullptr) co_return std::make_unique<PlainConnection>(std::move(socket), left());
  auto connection = std::make_unique<TlsConnection>(std::move(socket), *tls, left());
  if (!connection->Expect(host)) {
    co_return Error(ErrorKind::kTls, "\"" + host + "\" cannot be the name in a certificate");
  }
  co_return co_await Shake(std::move(connection), asio::ssl::stream_base::client, peer);
}

asio::awaitable<ConnectionResult> ConnectLocal(std::string path, milliseconds deadline) {
  asio::local::stream_protocol::socket socket(co_await asio::this_coro::executor);
  boost::system::error_code error;
  if (path.empty() || path.size() >= sizeof(sockaddr_un::sun_path)) {
    error = asio::error::name_too_long;
  } else {
    socket.connect(asio::local::stream_protocol::endpoint(path),
                   error);  // never waits for a network
  }
  if (error) {
    co_return Error(ErrorKind::kNetwork, "no connection to \"" + path + "\": " + error.message());
  }
  co_return std::make_unique<PlainConnection>(Socket(std::move(socket)), deadline);
}

}  // namespace dwell::net
