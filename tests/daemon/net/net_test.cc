// Connections and the HTTP client against a peer that plays a script.
#include <gmock/gmock.h>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/io_context.hpp>

#include "daemon/base/limits.h"
#include "daemon/net/http_client.h"

namespace dwell::net {
namespace {

using asio::ip::tcp;
using std::chrono::milliseconds;

/// What the peer does with one connection: after each request head, the next answer; then it
/// closes.
struct Script {
  std::vector<std::string> answers;
  bool close_at_end = true;
  bool reset_at_end = false;
};

class NetTest : public testing::Test {
 protected:
  NetTest() : acceptor_(loop_, tcp::endpoint(asio::ip::address_v4::loopback(), 0)) {
    origin_.host = "127.0.0.1";
    origin_.port = std::to_string(acceptor_.local_endpoint().port());
  }

  void Play(std::vector<Script> scripts) {
    scripts_ = std::move(scripts);
    asio::co_spawn(loop_, Peer(), asio::detached);
  }

  asio::awaitable<void> Peer() {
    for (const Script& script : scripts_) {
      auto [error, socket] = co_await acceptor_.async_accept(asio::as_tuple(asio::deferred));
      if (error) co_return;
      ++connections_;
      auto made = co_await Serve(std::move(socket), nullptr, milliseconds(5000));
      const std::unique_ptr<Connection> connection = std::move(*made);
      for (const std::string& answer : script.answers) {
        std::string head;
        std::array<char, 1024> bytes{};
        while (head.find("\r\n\r\n") == std::string::npos) {
          const std::span<char> room(bytes);
          const Io io = co_await connection->ReadSome(room);
          if (io.error) break;
          head.append(bytes.data(), io.bytes);
        }
        requests_.push_back(head);
        co_await connection->Write(answer);
      }
      if (script.reset_at_end) connection->Reset();
      if (!script.close_at_end) {
        std::array<char, 16> bytes{};
        const std::span<char> room(bytes);
        co_await connection->ReadSome(room);
      }
    }
  }

  /// Runs the requests one after the other on one client.
  std::vector<Exchange> Ask(int times, milliseconds time_max = milliseconds(5000)) {
    std::vector<Exchange> exchanges;
    asio::co_spawn(loop_, Client(times, time_max, exchanges), asio::detached);
    loop_.restart();
    loop_.run();
    return exchanges;
  }

  asio::awaitable<void> Client(int times, milliseconds time_max, std::vector<Exchange>& into) {
    HttpClient client(origin_, nullptr);
    Request request;
    request.method = "POST";
    request.target = "/fhir";
    request.fields = "X-Mark: 1\r\n";
    request.body = "{}";
    for (int i = 0; i < times; ++i) {
      Exchange exchange = co_await client.Send(request, time_max);
      into.push_back(std::move(exchange));
    }
    boost::system::error_code ignored;
    acceptor_.close(ignored);
  }

  Exchange AskOnce(const std::string& answer, milliseconds time_max = milliseconds(5000)) {
    Play({{.answers = {answer}}});
    return Ask(1, time_max).front();
  }

  asio::io_context loop_;
  tcp::acceptor acceptor_;
  Origin origin_;
  std::vector<Script> scripts_;
  std::vector<std::string> requests_;
  int connections_ = 0;
};

const std::string kOk = "HTTP/1.1 200 OK\r\nContent-Type: a/b\r\nContent-Length: 2\r\n\r\nhi";

TEST_F(NetTest, ARequestIsWrittenAndItsAnswerReadWithItsFields) {
  const Exchange exchange = AskOnce(
      "HTTP/1.1 503 Busy\r\nRetry-After: 3\r\nDate: now\r\nETag: W/\"1\"\r\nLocation: /x\r\n"
      "Content-Type: text/plain\r\nContent-Length: 4\r\n\r\nbusy");
  EXPECT_EQ(exchange.failure, Failure::kNone) << exchange.error;
  EXPECT_EQ(exchange.written, Written::kAll);
  EXPECT_EQ(exchange.status, 503);
  EXPECT_EQ(exchange.retry_after, "3");
  EXPECT_EQ(exchange.date, "now");
  EXPECT_EQ(exchange.etag, "W/\"1\"");
  EXPECT_EQ(exchange.location, "/x");
  EXPECT_EQ(exchange.content_type, "text/plain");
  EXPECT_EQ(exchange.body, "busy");
  ASSERT_EQ(requests_.size(), 1U);
  EXPECT_THAT(requests_[0], testing::StartsWith(
                                "POST /fhir HTTP/1.1\r\nHost: 127.0.0.1:" + origin_.port + "\r\n"));
  EXPECT_THAT(requests_[0], testing::EndsWith("X-Mark: 1\r\nContent-Length: 2\r\n\r\n{}"));
}

TEST_F(NetTest, AConnectionIsKeptForTheNextRequest) {
  Play({{.answers = {kOk, kOk, kOk}}});
  const auto exchanges = Ask(3);
  for (const Exchange& exchange : exchanges) EXPECT_EQ(exchange.body, "hi") << exchange.error;
  EXPECT_EQ(connections_, 1);
}

TEST_F(NetTest, AConnectionThatThePeerClosedIsReplacedUnnoticed) {
  Play({{.answers = {kOk}}, {.answers = {kOk}}});
  const auto exchanges = Ask(2);
  ASSERT_EQ(exchanges.size(), 2U);
  EXPECT_EQ(exchanges[1].status, 200) << exchanges[1].error;
  EXPECT_EQ(connections_, 2);
}

TEST_F(NetTest, ConnectionCloseIsObeyed) {
  const std::string last = "HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 0\r\n\r\n";
  Play({{.answers = {last}}, {.answers = {kOk}}});
  EXPECT_EQ(Ask(2)[1].status, 200);
  EXPECT_EQ(connections_, 2);
}

TEST_F(NetTest, InterimAnswersAreSkipped) {
  const Exchange exchange =
      AskOnce("HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 103 Early Hints\r\nLink: <x>\r\n\r\n" + kOk);
  EXPECT_EQ(exchange.status, 200) << exchange.error;
  EXPECT_EQ(exchange.body, "hi");
}

TEST_F(NetTest, ChunkedAndCloseDelimitedBodiesAreRead) {
  EXPECT_EQ(
      AskOnce("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n2\r\nhi\r\n0\r\n\r\n").body,
      "hi");
}

TEST_F(NetTest, ABodyThatEndsWithTheConnectionIsRead) {
  const Exchange exchange = AskOnce("HTTP/1.1 200 OK\r\n\r\nuntil the end");
  EXPECT_EQ(exchange.failure, Failure::kNone) << exchange.error;
  EXPECT_EQ(exchange.body, "until the end");
}

TEST_F(NetTest, ATruncatedAnswerIsNoAnswer) {
  const Exchange exchange = AskOnce("HTTP/1.1 200 OK\r\nContent-Length: 10\r\n\r\nhi");
  EXPECT_EQ(exchange.failure, Failure::kBroken);
  EXPECT_EQ(exchange.written, Written::kAll);
}

TEST_F(NetTest, ATruncatedChunkIsNoAnswer) {
  const auto exchange = AskOnce("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nhi");
  EXPECT_EQ(exchange.failure, Failure::kBroken);
}

TEST_F(NetTest, SilenceEndsWithTheTimeOfTheAttempt) {
  Play({{.answers = {""}, .close_at_end = false}});
  const Exchange exchange = Ask(1, milliseconds(30)).front();
  EXPECT_EQ(exchange.failure, Failure::kTimeOut);
  EXPECT_EQ(exchange.written, Written::kAll);
}

TEST_F(NetTest, AResetAfterTheRequestIsBrokenButWritten) {
  Play({{.answers = {""}, .reset_at_end = true}});
  const Exchange exchange = Ask(1).front();
  EXPECT_EQ(exchange.failure, Failure::kBroken);
  EXPECT_EQ(exchange.written, Written::kAll);
}

TEST_F(NetTest, WhatIsNotHttpIsGarbage) {
  EXPECT_EQ(AskOnce("220 mail.example.org ESMTP\r\n\r\n").failure, Failure::kGarbage);
}

TEST_F(NetTest, ACompressedAnswerNobodyAskedForIsGarbage) {
  EXPECT_EQ(
      AskOnce("HTTP/1.1 200 OK\r\nContent-Encoding: gzip\r\nContent-Length: 2\r\n\r\nhi").failure,
      Failure::kGarbage);
}

TEST_F(NetTest, AnEndlessHeadIsTooLarge) {
  const std::string field = "X: " + std::string(100, 'x') + "\r\n";
  std::string head = "HTTP/1.1 200 OK\r\n";
  while (head.size() < 3 * limits::kHeadBytesMax) head += field;
  EXPECT_EQ(AskOnce(head + "\r\n").failure, Failure::kTooLarge);
}

TEST_F(NetTest, AnAnnouncedBodyBeyondTheLimitIsTooLarge) {
  const std::string size = std::to_string(limits::kResponseBytesMax + 1);
  EXPECT_EQ(AskOnce("HTTP/1.1 200 OK\r\nContent-Length: " + size + "\r\n\r\nhi").failure,
            Failure::kTooLarge);
}

TEST_F(NetTest, ARefusedConnectionSaysSo) {
  boost::system::error_code ignored;
  acceptor_.close(ignored);
  const Exchange exchange = Ask(1).front();
  EXPECT_EQ(exchange.failure, Failure::kConnect);
  EXPECT_EQ(exchange.written, Written::kNone);
  EXPECT_THAT(exchange.error, testing::HasSubstr("refused"));
}

TEST_F(NetTest, ANameThatDoesNotExistSaysSo) {
  origin_.host = "nowhere.invalid";  // RFC 6761 section 6.4
  const Exchange exchange = Ask(1).front();
  EXPECT_EQ(exchange.failure, Failure::kConnect);
  EXPECT_THAT(exchange.error, testing::HasSubstr("nowhere.invalid"));
}

}  // namespace
}  // namespace dwell::net
