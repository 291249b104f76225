// A whole intake on a real store and real loopback sockets, and a client that sends raw bytes.
#pragma once

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <future>
#include <string>
#include <thread>

#include "daemon/intake/listener.h"
#include "daemon/intake/ward_service.h"
#include "tests/daemon/ledger/ledger_rig.h"

namespace dwell::test {

/// A connection that says exactly what it is told to.
class RawClient {
 public:
  explicit RawClient(std::uint16_t port) : socket_(::socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(port);
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    timeval patience{.tv_sec = 20, .tv_usec = 0};  // a test that hangs must fail
    ::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    EXPECT_EQ(::connect(socket_, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  }
  ~RawClient() { ::close(socket_); }
  RawClient(const RawClient&) = delete;
  RawClient& operator=(const RawClient&) = delete;

  void Send(const std::string& bytes) {
    EXPECT_EQ(::send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL),
              static_cast<ssize_t>(bytes.size()));
  }

  /// One response, head and body; what was read so far when the peer ends before it is whole.
  std::string Response() {
    while (!Whole()) {
      if (!ReadMore()) return std::exchange(received_, {});
    }
    const std::string response = received_.substr(0, *Whole());
    received_.erase(0, response.size());
    return response;
  }

  /// Whether the peer ends the connection without another byte.
  bool AtEnd() { return received_.empty() && !ReadMore() && received_.empty(); }

 private:
  std::optional<std::size_t> Whole() const {
    const std::size_t head = received_.find("\r\n\r\n");
    if (head == std::string::npos) return std::nullopt;
    const std::size_t field = received_.find("Content-Length: ");
    const std::size_t body = field < head ? std::stoul(received_.substr(field + 16)) : 0;
    if (received_.size() < head + 4 + body) return std::nullopt;
    return head + 4 + body;
  }

  bool ReadMore() {
    char chunk[4096];
    const ssize_t bytes = ::recv(socket_, chunk, sizeof chunk, 0);
    if (bytes > 0) received_.append(chunk, static_cast<std::size_t>(bytes));
    return bytes > 0;
  }

  int socket_;
  std::string received_;
};

inline int StatusOf(const std::string& response) {
  return response.size() < 12 ? 0 : std::stoi(response.substr(9, 3));
}
inline std::string BodyOf(const std::string& response) {
  const std::size_t head = response.find("\r\n\r\n");
  return head == std::string::npos ? std::string() : response.substr(head + 4);
}

inline std::string Post(const std::string& body,
                        const std::string& content_type = "application/json") {
  return "POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: " + content_type +
         "\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body;
}
inline std::string Get(const std::string& target) {
  return "GET " + target + " HTTP/1.1\r\nHost: a\r\n\r\n";
}

/// Store, ledger, pipeline and listener, the latter on a thread of its own.
class HttpRig {
 public:
  explicit HttpRig(intake::ListenerOptions options = {})
      : writer_(std::move(store::Store::Open(folder_ / "store.db").value()),
                [](const Error& error) { ADD_FAILURE() << error.message(); }),
        ledger_(writer_, clock, RulesOf()),
        pipeline(ledger_, writer_, Shelf::Get().schemas),
        service_(pipeline),
        work_(io_.get_executor()) {
    options.port = 0;
    listener_ = std::move(
        intake::Listener::Open(io_.get_executor(), service_, clock, std::move(options)).value());
    port = listener_->port();
    thread_ = std::thread([this] { io_.run(); });
  }
  ~HttpRig() {
    OnNet([this] { listener_.reset(); });
    work_.reset();
    io_.stop();
    thread_.join();
  }

  /// One request on a connection of its own.
  std::string Ask(const std::string& request) {
    RawClient client(port);
    client.Send(request);
    return client.Response();
  }

  /// Runs `action` on the listener's thread and waits for it.
  void OnNet(const std::function<void()>& action) {
    std::promise<void> done;
    boost::asio::post(io_, [&] {
      action();
      done.set_value();
    });
    done.get_future().wait();
  }

  /// As the daemon does it; `drained` becomes ready when the last connection is gone.
  std::future<void> Drain() {
    auto drained = std::make_shared<std::promise<void>>();
    OnNet([&] {
      pipeline.Drain();
      listener_->Drain([drained] { drained->set_value(); });
    });
    return drained->get_future();
  }

  std::uint64_t EventsStored() {
    std::promise<std::uint64_t> count;
    writer_.Post({[&](store::Store& store) -> Result<void> {
                    count.set_value(store.Count().value().events);
                    return {};
                  },
                  [](const Result<void>&) {}});
    return count.get_future().get();
  }

  store::Writer& writer() { return writer_; }
  ledger::Ledger& ledger() { return ledger_; }
  boost::asio::any_io_executor executor() { return io_.get_executor(); }

  ManualClock clock{ReadMoment("2026-04-01T00:00:00Z")->instant};
  std::uint16_t port = 0;

 private:
  static ledger::Rules RulesOf() {
    ledger::Rules rules;
    rules.schemas = &Shelf::Get().schemas;
    rules.policy = &Shelf::Get().policy;
    rules.zone = &Shelf::Get().zone;
    rules.fhir.site_namespace = "https://fernhill.example/dwelld";
    rules.fhir.codes = &Shelf::Get().codes;
    rules.fhir.zone = &Shelf::Get().zone;
    return rules;
  }

  TempFolder folder_;
  boost::asio::io_context io_{1};
  store::Writer writer_;
  ledger::Ledger ledger_;

 public:
  intake::Pipeline pipeline;

 private:
  intake::WardService service_;
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_;
  std::unique_ptr<intake::Listener> listener_;
  std::thread thread_;
};

}  // namespace dwell::test
