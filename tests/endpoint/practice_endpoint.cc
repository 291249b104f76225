#include "tests/endpoint/practice_endpoint.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <future>
#include <list>
#include <thread>

#include "daemon/net/connection.h"
#include "tests/endpoint/conversation.h"

namespace practice {
namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using dwell::Error;
using dwell::ErrorKind;
using dwell::net::Connection;

class Server final : public PracticeEndpoint {
 public:
  Server(Keep keep, std::optional<dwell::net::TlsContext> tls)
      : desk_(keep), tls_(std::move(tls)), acceptor_(loop_), work_(asio::make_work_guard(loop_)) {}

  ~Server() override {
    if (!thread_.joinable()) return;
    asio::post(loop_, [this] {
      CloseAll();
      work_.reset();
    });
    thread_.join();
  }

  boost::system::error_code Listen(std::uint16_t port) {
    boost::system::error_code error;
    const tcp::endpoint address(asio::ip::address_v4::loopback(), port);
    acceptor_.open(address.protocol(), error);
    if (!error) acceptor_.set_option(tcp::acceptor::reuse_address(true), error);
    if (!error) acceptor_.bind(address, error);
    if (!error) acceptor_.listen(asio::socket_base::max_listen_connections, error);
    if (error) return error;
    port_ = acceptor_.local_endpoint(error).port();
    asio::co_spawn(loop_, Accept(), asio::detached);
    return error;
  }

  void Run() {
    thread_ = std::thread([this] { loop_.run(); });
  }

  std::uint16_t port() const override { return port_; }
  std::string url() const override {
    return (tls_ ? "https://localhost:" : "http://localhost:") + std::to_string(port_) +
           std::string(Desk::kBase);
  }
  Desk& desk() override { return desk_; }

  void GoDown() override {
    OnLoop([this] {
      CloseAll();
      return true;
    });
  }

  bool ComeBack() override {
    return OnLoop([this] { return !Listen(port_); });
  }

 private:
  bool OnLoop(std::function<bool()> work) {
    std::promise<bool> done;
    asio::post(loop_, [&] { done.set_value(work()); });
    return done.get_future().get();
  }

  void CloseAll() {
    boost::system::error_code ignored;
    acceptor_.close(ignored);
    for (const std::weak_ptr<Connection>& weak : open_) {
      if (const auto connection = weak.lock()) connection->Reset();
    }
    open_.clear();
  }

  asio::awaitable<void> Accept() {
    while (acceptor_.is_open()) {
      auto [error, socket] = co_await acceptor_.async_accept(asio::as_tuple(asio::deferred));
      if (error) co_return;
      asio::co_spawn(loop_, Welcome(std::move(socket)), asio::detached);
    }
  }

  asio::awaitable<void> Welcome(tcp::socket socket) {
    const dwell::net::TlsContext* const tls = tls_ ? &*tls_ : nullptr;
    auto made = co_await dwell::net::Serve(std::move(socket), tls, std::chrono::seconds(10));
    if (!made || !acceptor_.is_open()) co_return;
    const std::shared_ptr<Connection> connection = std::move(*made);
    std::erase_if(open_, [](const auto& weak) { return weak.expired(); });
    open_.push_back(connection);
    co_await Converse(connection, desk_);
  }

  Desk desk_;
  std::optional<dwell::net::TlsContext> tls_;
  asio::io_context loop_{1};
  tcp::acceptor acceptor_;
  std::list<std::weak_ptr<Connection>> open_;
  asio::executor_work_guard<asio::io_context::executor_type> work_;
  std::uint16_t port_ = 0;
  std::thread thread_;
};

}  // namespace

dwell::Result<std::unique_ptr<PracticeEndpoint>> PracticeEndpoint::Start(
    const EndpointOptions& options) {
  std::optional<dwell::net::TlsContext> tls;
  if (options.tls) {
    auto context = dwell::net::TlsContext::Server(*options.tls);
    if (!context) return context.error();
    tls = *context;
  }
  auto server = std::make_unique<Server>(options.keep, std::move(tls));
  if (const auto error = server->Listen(options.port)) {
    return Error(ErrorKind::kBusy, "cannot listen: " + error.message());
  }
  server->Run();
  return std::unique_ptr<PracticeEndpoint>(std::move(server));
}

}  // namespace practice
