#include "daemon/admin/admin.h"

#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <set>

#include "daemon/base/limits.h"

namespace dwell::admin {

namespace asio = net::asio;
using Local = asio::local::stream_protocol;

struct Admin::State {
  State(const asio::any_io_executor& executor, std::string path_in, Services services_in)
      : acceptor(executor), path(std::move(path_in)), services(std::move(services_in)) {}

  Local::acceptor acceptor;
  std::string path;
  Services services;
  std::set<net::Connection*> connections;
};

namespace {

using StatePointer = std::shared_ptr<Admin::State>;

asio::awaitable<void> Serve(StatePointer state, std::unique_ptr<net::Connection> connection) {
  state->connections.insert(connection.get());
  Conversation conversation(*connection, state->services);
  co_await conversation.Run();
  state->connections.erase(connection.get());
}

asio::awaitable<void> AcceptAll(StatePointer state) {
  constexpr auto kAwait = asio::as_tuple(asio::use_awaitable);
  while (state->acceptor.is_open()) {
    auto [error, socket] = co_await state->acceptor.async_accept(kAwait);
    if (error == asio::error::operation_aborted) co_return;
    if (error || state->connections.size() >= limits::kOperatorsMax) continue;
    auto connection = net::ServeLocal(std::move(socket), limits::kIdleTimeMax);
    asio::co_spawn(state->acceptor.get_executor(), Serve(state, std::move(connection)),
                   asio::detached);
  }
}

/// Removes what a killed daemon left behind.
Result<void> ClearPath(const asio::any_io_executor& executor, const std::string& path) {
  struct stat status {};
  if (::lstat(path.c_str(), &status) != 0) return {};
  if (!S_ISSOCK(status.st_mode)) {
    return Error(ErrorKind::kConfig, path + " is in the way: it is not a socket");
  }
  Local::socket probe(executor);
  boost::system::error_code error;
  probe.connect(Local::endpoint(path), error);
  if (!error) return Error(ErrorKind::kBusy, "another daemon listens on " + path);
  ::unlink(path.c_str());
  return {};
}

}  // namespace

Admin::Admin(std::shared_ptr<State> state) : state_(std::move(state)) {}

Admin::~Admin() {
  boost::system::error_code ignored;
  state_->acceptor.close(ignored);
  for (net::Connection* connection : state_->connections) connection->Close();
  ::unlink(state_->path.c_str());
}

Result<std::unique_ptr<Admin>> Admin::Open(const asio::any_io_executor& executor,
                                           const std::string& path, Services services) {
  if (path.size() >= sizeof(sockaddr_un::sun_path)) {
    return Error(ErrorKind::kConfig, path + " is too long for a socket: at most " +
                                         std::to_string(sizeof(sockaddr_un::sun_path) - 1) +
                                         " bytes");
  }
  if (auto cleared = ClearPath(executor, path); !cleared) return cleared.error();
  const auto state = std::make_shared<State>(executor, path, std::move(services));
  boost::system::error_code error;
  state->acceptor.open(Local(), error);
  const mode_t before = ::umask(0117);  // the file appears with mode 0660, not a moment later
  if (!error) state->acceptor.bind(Local::endpoint(path), error);
  ::umask(before);
  if (!error) state->acceptor.listen(asio::socket_base::max_listen_connections, error);
  if (error) {
    return Error(ErrorKind::kConfig, "cannot listen on " + path + ": " + error.message());
  }
  asio::co_spawn(executor, AcceptAll(state), asio::detached);
  return std::unique_ptr<Admin>(new Admin(state));
}

}  // namespace dwell::admin
