#include "daemon/net/http_client.h"

#include <boost/asio/error.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/string_body.hpp>

#include "daemon/base/limits.h"
#include "schemas/base/check.h"

namespace dwell::net {
namespace http = boost::beast::http;
namespace {

std::string HostLine(const Origin& origin) {
  if (!origin.local_path.empty()) return "Host: localhost\r\n";
  const bool is_v6 = origin.host.find(':') != std::string::npos;
  std::string line = "Host: " + (is_v6 ? "[" + origin.host + "]" : origin.host);
  if (origin.port != (origin.tls ? "443" : "80")) line += ":" + origin.port;
  return line + "\r\n";
}

std::string Copy(boost::beast::string_view text) { return {text.data(), text.size()}; }

void Fail(Exchange& exchange, Failure failure, std::string error) {
  exchange.failure = failure;
  exchange.error = std::move(error);
}

void FailBy(Exchange& exchange, const boost::system::error_code& error, std::string_view when) {
  const bool late = error == asio::error::timed_out;
  const std::string what = late ? "no complete answer in time" : error.message();
  Fail(exchange, late ? Failure::kTimeOut : Failure::kBroken, std::string(when) + ": " + what);
}

void FailByAnswer(Exchange& exchange, const boost::system::error_code& error) {
  if (error == asio::error::eof || error == http::error::partial_message) {
    return Fail(exchange, Failure::kBroken, "the answer ended before it was complete");
  }
  const bool too_large = error == http::error::body_limit || error == http::error::header_limit;
  Fail(exchange, too_large ? Failure::kTooLarge : Failure::kGarbage,
       "the answer is not acceptable HTTP: " + error.message());
}

std::ptrdiff_t Offset(std::size_t at) { return static_cast<std::ptrdiff_t>(at); }

}  // namespace

/// Reads one response; put and put_eof of the parser, without its stream operations.
class HttpClient::Answer {
 public:
  Answer() { Reset(); }

  /// Feeds bytes; returns how many were used. `done` or `failure` tell when it is over.
  std::size_t Put(const char* data, std::size_t size) {
    std::size_t used = 0;
    while (used < size && !done_ && !error_) {
      const std::size_t now = parser_->put(asio::buffer(data + used, size - used), error_);
      used += now;
      if (error_ == http::error::need_more) {
        error_ = {};
        break;
      }
      if (!error_ && parser_->is_done()) Done();
      if (now == 0) break;
    }
    return used;
  }

  void PutEof() {
    if (!parser_->got_some()) {
      error_ = asio::error::eof;
      return;
    }
    parser_->put_eof(error_);
    if (!error_) done_ = parser_->is_done();
  }

  bool done() const { return done_; }
  const boost::system::error_code& error() const { return error_; }
  bool keep() const { return done_ && parser_->keep_alive(); }

  /// Moves what was read so far.
  void Give(Exchange& exchange) {
    if (!parser_->is_header_done()) return;
    auto& message = parser_->get();
    exchange.status = static_cast<int>(message.result_int());
    exchange.content_type = Copy(message[http::field::content_type]);
    exchange.retry_after = Copy(message[http::field::retry_after]);
    exchange.location = Copy(message[http::field::location]);
    exchange.etag = Copy(message[http::field::etag]);
    exchange.date = Copy(message[http::field::date]);
    exchange.body = std::move(message.body());
    const auto encoding = message[http::field::content_encoding];
    if (!encoding.empty() && !boost::beast::iequals(encoding, "identity")) {
      Fail(exchange, Failure::kGarbage, "the answer is compressed although that was not asked for");
    }
  }

 private:
  static constexpr int kInterimMax = 8;  // 100, 102 and 103 may precede the answer (RFC 9110 15.2)

  void Reset() {
    parser_.emplace();
    parser_->eager(true);
    parser_->header_limit(static_cast<std::uint32_t>(limits::kHeadBytesMax));
    parser_->body_limit(limits::kResponseBytesMax);
  }

  void Done() {
    const unsigned status = parser_->get().result_int();
    if (status >= 200 || status == 101) {
      done_ = true;
    } else if (++interim_ > kInterimMax) {
      error_ = http::error::bad_status;
    } else {
      Reset();
    }
  }

  std::optional<http::response_parser<http::string_body>> parser_;
  boost::system::error_code error_;
  bool done_ = false;
  int interim_ = 0;
};

HttpClient::HttpClient(Origin origin, std::shared_ptr<TlsSource> tls)
    : origin_(std::move(origin)),
      tls_(std::move(tls)),
      host_line_(HostLine(origin_)),
      buffer_(2 * limits::kHeadBytesMax) {
  CHECK(!origin_.tls || tls_ != nullptr);
}

void HttpClient::Close() {
  if (connection_) connection_->Close();
}

void HttpClient::WriteHead(const Request& request) {
  head_.assign(request.method).append(" ").append(request.target).append(" HTTP/1.1\r\n");
  head_.append(host_line_).append("Accept-Encoding: identity\r\n").append(request.fields);
  if (!request.body.empty() || request.method == "POST" || request.method == "PUT") {
    head_.append("Content-Length: ").append(std::to_string(request.body.size())).append("\r\n");
  }
  head_.append("\r\n");
}

bool HttpClient::Reusable() {
  if (!connection_) return false;
  const auto now = Clock::now();
  if (now - used_ < limits::kClientIdleTimeMax && now - opened_ < limits::kClientLifeTimeMax &&
      connection_->Quiet()) {
    return true;
  }
  connection_.reset();
  return false;
}

asio::awaitable<bool> HttpClient::Open(Exchange& exchange, std::chrono::milliseconds time_max) {
  ConnectionResult made = Error();
  if (origin_.local_path.empty()) {
    const TlsContext* const tls = origin_.tls ? &tls_->Current() : nullptr;
    made = co_await Connect(origin_.host, origin_.port, tls, time_max);
  } else {
    made = co_await ConnectLocal(origin_.local_path, time_max);
  }
  if (!made) {
    const bool is_tls = made.error().kind() == ErrorKind::kTls;
    Fail(exchange, is_tls ? Failure::kTls : Failure::kConnect, made.error().message());
    co_return false;
  }
  connection_ = std::move(*made);
  opened_ = used_ = Clock::now();
  co_return true;
}

asio::awaitable<void> HttpClient::Read(Exchange& exchange) {
  Answer answer;
  std::size_t begin = 0, end = 0;
  while (!answer.done() && !answer.error()) {
    if (begin > 0) {  // what the parser could not use yet moves to the front
      std::copy(buffer_.begin() + Offset(begin), buffer_.begin() + Offset(end), buffer_.begin());
      end -= std::exchange(begin, 0);
    }
    if (end == buffer_.size()) {
      co_return Fail(exchange, Failure::kTooLarge, "the head of the answer is too large");
    }
    const std::span<char> room = std::span(buffer_).subspan(end);
    const Io io = co_await connection_->ReadSome(room);
    end += io.bytes;
    begin += answer.Put(buffer_.data() + begin, end - begin);
    if (answer.done() || answer.error()) break;
    if (io.error == asio::error::eof) answer.PutEof();
    if (io.error && !answer.done() && !answer.error()) {
      answer.Give(exchange);
      co_return FailBy(exchange, io.error, "waiting for the answer");
    }
  }
  answer.Give(exchange);
  if (answer.error()) FailByAnswer(exchange, answer.error());
  // What was not sent whole, or is followed by more than was asked for, leaves no clean start.
  if (exchange.written != Written::kAll || !answer.keep() || begin != end) connection_.reset();
}

asio::awaitable<Exchange> HttpClient::Send(const Request& request,
                                           std::chrono::milliseconds time_max) {
  const auto start = Clock::now();
  Exchange exchange;
  WriteHead(request);
  bool fresh = false;
  Io io;
  do {
    if (!Reusable()) {
      fresh = true;
      const bool open = co_await Open(exchange, time_max);
      if (!open) co_return exchange;
    }
    const auto spent = std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - start);
    connection_->Deadline(std::max(std::chrono::milliseconds(0), time_max - spent));
    io = co_await connection_->Write(head_, request.body);
    // Closed by the peer between our look and our write: nothing was seen, a new one may serve.
    if (io.error && io.bytes == 0 && !fresh) connection_.reset();
  } while (!connection_);

  if (io.bytes > 0) exchange.written = io.error ? Written::kSome : Written::kAll;
  if (io.error == asio::error::timed_out) {
    FailBy(exchange, io.error, "sending the request");
  } else {
    // Also after a broken write: a peer may answer (413, 431) and close before it has read it all.
    co_await Read(exchange);
  }
  if (exchange.failure != Failure::kNone) connection_.reset();
  used_ = Clock::now();
  co_return exchange;
}

}  // namespace dwell::net
