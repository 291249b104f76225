#include "tests/endpoint/conversation.h"

#include <array>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/status.hpp>
#include <boost/beast/http/string_body.hpp>
#include <vector>

namespace practice {
namespace {

namespace asio = boost::asio;
namespace http = boost::beast::http;
using dwell::net::Connection;
using dwell::net::Io;
using std::chrono::milliseconds;
using Parser = http::request_parser<http::string_body>;
using Kind = Mood::Kind;

constexpr milliseconds kIdle{60'000};
constexpr milliseconds kDrop{20};  // between two bytes of a dripping answer
constexpr std::size_t kBodyBytesMax = 16U << 20U;

std::string_view View(boost::beast::string_view text) { return {text.data(), text.size()}; }

asio::awaitable<void> Pause(milliseconds time) {
  asio::steady_timer timer(co_await asio::this_coro::executor, time);
  co_await timer.async_wait(asio::as_tuple(asio::deferred));
}

/// Bytes read but not yet used.
struct Inbox {
  std::vector<char> buffer = std::vector<char>(64 * 1024);
  std::size_t begin = 0, end = 0;
};

/// Reads one request; false at the end of the connection.
asio::awaitable<bool> ReadRequest(Connection& connection, Inbox& inbox, Parser& parser) {
  boost::system::error_code error;
  for (;;) {
    while (inbox.begin < inbox.end) {
      const auto unread = asio::buffer(inbox.buffer.data() + inbox.begin, inbox.end - inbox.begin);
      const std::size_t used = parser.put(unread, error);
      inbox.begin += used;
      if (error && error != http::error::need_more) co_return false;
      if (parser.is_done()) co_return true;
      if (error || used == 0) break;
    }
    if (inbox.begin == inbox.end) inbox.begin = inbox.end = 0;
    if (inbox.end == inbox.buffer.size()) {
      std::copy(inbox.buffer.begin() + static_cast<std::ptrdiff_t>(inbox.begin), inbox.buffer.end(),
                inbox.buffer.begin());
      inbox.end -= std::exchange(inbox.begin, 0);
      if (inbox.end == inbox.buffer.size()) co_return false;
    }
    connection.Deadline(kIdle);
    const std::span<char> room = std::span(inbox.buffer).subspan(inbox.end);
    const Io io = co_await connection.ReadSome(room);
    inbox.end += io.bytes;
    if (io.error) co_return false;
  }
}

HttpResponse ByMood(const Mood& mood) {
  HttpResponse response;
  switch (mood.kind) {
    case Kind::kRefuse:
      response.status = 422;
      response.body = Outcome("processing", "the practice endpoint was told to refuse this");
      break;
    case Kind::kStatus:
      response.status = mood.status;
      break;
    default:
      response.status = 200;
  }
  const bool has_page =
      mood.kind == Kind::kHtml200 || (mood.kind == Kind::kStatus && !mood.outcome);
  if (has_page) {
    response.content_type = "text/html; charset=utf-8";
    response.body = "<!doctype html><title>Practice</title><p>Please sign in.</p>";
  } else if (mood.kind == Kind::kStatus) {
    response.body = Outcome("transient", "the practice endpoint was told to answer so");
  }
  if (mood.retry_after.starts_with("date:")) {
    const int seconds = std::atoi(mood.retry_after.c_str() + 5);
    response.fields += "Retry-After: " + HttpDate(seconds) + "\r\n";
  } else if (!mood.retry_after.empty()) {
    response.fields += "Retry-After: " + mood.retry_after + "\r\n";
  }
  if (!mood.location.empty()) response.fields += "Location: " + mood.location + "\r\n";
  return response;
}

void WriteHead(const HttpResponse& response, bool keep, std::string& head) {
  const auto reason =
      View(http::obsolete_reason(http::int_to_status(static_cast<unsigned>(response.status))));
  head.assign("HTTP/1.1 ").append(std::to_string(response.status)).append(" ").append(reason);
  head.append("\r\nDate: ").append(HttpDate(response.date_ahead_s));
  if (response.status != 204) {
    head.append("\r\nContent-Type: ").append(response.content_type);
    head.append("\r\nContent-Length: ").append(std::to_string(response.body.size()));
  }
  if (!keep) head.append("\r\nConnection: close");
  head.append("\r\n").append(response.fields).append("\r\n");
}

/// Says nothing until the peer is gone.
asio::awaitable<void> SaySilent(Connection& connection) {
  std::array<char, 64> waste{};
  const std::span<char> room(waste);
  connection.Deadline(std::chrono::hours(1));
  for (;;) {
    const Io io = co_await connection.ReadSome(room);
    if (io.error) co_return;
  }
}

asio::awaitable<bool> Send(Connection& connection, const HttpResponse& response, bool keep,
                           Kind kind, std::string& head) {
  WriteHead(response, keep, head);
  if (kind == Kind::kDrip) {
    const std::string whole = head + response.body;
    for (const char& byte : whole) {
      co_await Pause(kDrop);
      const std::string_view drop(&byte, 1);
      const Io io = co_await connection.Write(drop);
      if (io.error) co_return false;
    }
    co_return keep;
  }
  std::string_view body = response.body;
  if (kind == Kind::kTruncate) body = body.substr(0, body.size() / 2);
  const Io io = co_await connection.Write(head, body);
  co_return keep && !io.error && kind != Kind::kTruncate;
}

bool IsDone(Kind kind) {
  return kind == Kind::kNone || kind == Kind::kResetAfterCommit ||
         kind == Kind::kStallAfterCommit || kind == Kind::kDrip || kind == Kind::kTruncate;
}

/// Does and answers one request; whether the connection goes on.
asio::awaitable<bool> Serve(Connection& connection, Desk& desk, const HttpRequest& request,
                            bool keep, std::string& head) {
  const Mood mood = desk.MoodFor(request);
  const HttpResponse response = IsDone(mood.kind) ? desk.Answer(request) : ByMood(mood);
  const int latency_ms = desk.manners().latency_ms;
  if (latency_ms > 0) co_await Pause(milliseconds(latency_ms));
  switch (mood.kind) {
    case Kind::kResetBefore:
    case Kind::kResetAfterCommit:
      connection.Reset();
      co_return false;
    case Kind::kStall:
    case Kind::kStallAfterCommit:
      co_await SaySilent(connection);
      co_return false;
    case Kind::kGarbage: {
      constexpr std::string_view kNotHttp = "\x15\x03\x01 this is not HTTP\n\n";
      co_await connection.Write(kNotHttp);
      co_return false;
    }
    default:
      break;
  }
  co_return co_await Send(connection, response, keep, mood.kind, head);
}

}  // namespace

asio::awaitable<void> Converse(std::shared_ptr<Connection> connection, Desk& desk) {
  Inbox inbox;
  std::string head;
  bool goes_on = true;
  while (goes_on) {
    Parser parser;
    parser.eager(true);
    parser.body_limit(kBodyBytesMax);
    const bool has_request = co_await ReadRequest(*connection, inbox, parser);
    if (!has_request) co_return;
    const auto& message = parser.get();
    HttpRequest request;
    request.method = View(message.method_string());
    request.target = View(message.target());
    request.body = message.body();
    request.content_type = View(message[http::field::content_type]);
    request.if_none_exist = View(message["If-None-Exist"]);
    request.if_match = View(message[http::field::if_match]);
    request.authorization = View(message[http::field::authorization]);
    const std::vector<std::string> keys = desk.Enter(request);
    goes_on = co_await Serve(*connection, desk, request, message.keep_alive(), head);
    desk.Leave(keys);
  }
}

}  // namespace practice
