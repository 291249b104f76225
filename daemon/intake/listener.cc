#include "daemon/intake/listener.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/ip/address.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <set>

#include "daemon/base/limits.h"
#include "daemon/intake/session.h"

namespace dwell::intake {

namespace asio = net::asio;
using asio::ip::tcp;

/// What the connections of one listener share.
struct Listener::State {
  State(const asio::any_io_executor& executor, Service& service_in, const base::Clock& clock_in,
        ListenerOptions options_in)
      : acceptor(executor), service(service_in), clock(clock_in), options(std::move(options_in)) {}

  tcp::acceptor acceptor;
  Service& service;
  const base::Clock& clock;
  ListenerOptions options;
  DateText date;
  std::set<Session*> sessions;
  std::size_t open = 0;  ///< connections, those in their handshake included
  bool draining = false;
  std::function<void()> drained;

  void Leave() {
    --open;
    if (open == 0 && draining && drained) std::exchange(drained, nullptr)();
  }
};

namespace {

using StatePointer = std::shared_ptr<Listener::State>;

constexpr auto kAwait = asio::as_tuple(asio::use_awaitable);

/// Counts a connection for as long as it lives, and makes its session known.
class Seat {
 public:
  explicit Seat(StatePointer state) : state_(std::move(state)) { ++state_->open; }
  ~Seat() {
    if (session_ != nullptr) state_->sessions.erase(session_);
    state_->Leave();
  }
  Seat(const Seat&) = delete;
  Seat& operator=(const Seat&) = delete;

  void Occupy(Session* session) {
    session_ = session;
    state_->sessions.insert(session);
  }

 private:
  StatePointer state_;
  Session* session_ = nullptr;
};

asio::awaitable<void> ServeConnection(StatePointer state, tcp::socket socket, bool full) {
  Seat seat(state);
  const net::TlsContext* const tls = state->options.tls ? &state->options.tls->Current() : nullptr;
  const auto time_max = state->options.connection.request_time_max;
  const auto connection = co_await net::Serve(std::move(socket), tls, time_max);
  if (!connection) co_return;
  Session session(**connection, state->service, state->clock, state->date,
                  state->options.connection);
  if (full) {
    Reply reply = Refuse(503, "connections", "fewer connections at the same time");
    co_await session.TurnAway(std::move(reply));
    co_return;
  }
  seat.Occupy(&session);
  if (state->draining) session.Drain();
  co_await session.Run();
}

asio::awaitable<void> AcceptAll(StatePointer state) {
  while (!state->draining) {
    auto [error, socket] = co_await state->acceptor.async_accept(kAwait);
    if (error == asio::error::operation_aborted) co_return;
    if (error) {
      asio::steady_timer pause(state->acceptor.get_executor(), limits::kAcceptPause);
      co_await pause.async_wait(kAwait);
      continue;
    }
    const std::size_t max = state->options.connections_max;
    if (state->open >= max + limits::kTurnedAwayMax) continue;  // closes the socket
    asio::co_spawn(state->acceptor.get_executor(),
                   ServeConnection(state, std::move(socket), state->open >= max), asio::detached);
  }
}

Error ListenError(const ListenerOptions& options, const boost::system::error_code& error) {
  const ErrorKind kind =
      error == asio::error::address_in_use ? ErrorKind::kBusy : ErrorKind::kNetwork;
  return {kind, "cannot listen on " + options.address + " port " + std::to_string(options.port) +
                    ": " + error.message()};
}

}  // namespace

Listener::Listener(std::shared_ptr<State> state) : state_(std::move(state)) {}

Listener::~Listener() { Drain(nullptr); }

Result<std::unique_ptr<Listener>> Listener::Open(const asio::any_io_executor& executor,
                                                 Service& service, const base::Clock& clock,
                                                 ListenerOptions options) {
  boost::system::error_code error;
  const asio::ip::address address = asio::ip::make_address(options.address, error);
  if (error) {
    return Error(ErrorKind::kConfig, "\"" + options.address + "\" is not an IP address");
  }
  const auto state = std::make_shared<State>(executor, service, clock, std::move(options));
  const tcp::endpoint endpoint(address, state->options.port);
  tcp::acceptor& acceptor = state->acceptor;
  acceptor.open(endpoint.protocol(), error);
  if (!error) acceptor.set_option(tcp::acceptor::reuse_address(true), error);
  if (!error) acceptor.bind(endpoint, error);
  if (!error) acceptor.listen(asio::socket_base::max_listen_connections, error);
  if (error) return ListenError(state->options, error);
  asio::co_spawn(executor, AcceptAll(state), asio::detached);
  return std::unique_ptr<Listener>(new Listener(state));
}

std::uint16_t Listener::port() const {
  boost::system::error_code ignored;
  return state_->acceptor.local_endpoint(ignored).port();
}

std::size_t Listener::connections() const { return state_->open; }

void Listener::Drain(std::function<void()> done) {
  State& state = *state_;
  state.draining = true;
  state.drained = std::move(done);
  boost::system::error_code ignored;
  state.acceptor.close(ignored);
  for (Session* session : state.sessions) session->Drain();
  if (state.open == 0 && state.drained) std::exchange(state.drained, nullptr)();
}

}  // namespace dwell::intake
