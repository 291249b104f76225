#include "daemon/intake/request_reader.h"

#include <algorithm>

#include "daemon/intake/gate.h"
#include "daemon/intake/http_head.h"

namespace dwell::intake {
namespace {

namespace asio = net::asio;
namespace http = boost::beast::http;

// Twice the head's limit: a whole head and the start of its body, or one chunk header.
constexpr std::size_t kBufferBytes = 2 * limits::kHeadBytesMax;

Reply BodyRefusal(const boost::system::error_code& error) {
  if (error == http::error::body_limit) {
    return Refuse(413, "body-too-large", "a smaller body: split the batch");
  }
  return Refuse(400, "framing", "a body framed as its head says (RFC 9112 section 6)");
}

}  // namespace

RequestReader::RequestReader(net::Connection& connection, Service& service,
                             const ConnectionLimits& limits)
    : connection_(connection), service_(service), limits_(limits), buffer_(kBufferBytes) {}

void RequestReader::Consume(std::size_t bytes) {
  begin_ += bytes;
  if (begin_ == end_) begin_ = end_ = 0;
}

asio::awaitable<bool> RequestReader::ReadMore() {
  if (end_ == buffer_.size()) {
    std::copy(buffer_.data() + begin_, buffer_.data() + end_, buffer_.data());
    end_ -= begin_;
    begin_ = 0;
    if (end_ == buffer_.size()) co_return false;
  }
  const std::span<char> room(buffer_.data() + end_, buffer_.size() - end_);
  const net::Io io = co_await connection_.ReadSome(room);
  end_ += io.bytes;
  co_return !io.error;
}

asio::awaitable<std::optional<std::size_t>> RequestReader::ReadHead() {
  std::size_t seen = 0;
  while (true) {
    const std::string_view bytes = unread();
    if (const auto size = HeadSize(bytes, seen < 2 ? 0 : seen - 2)) co_return size;
    if (bytes.size() > limits::kHeadBytesMax) co_return bytes.size();
    seen = bytes.size();
    const bool more = co_await ReadMore();
    if (!more) co_return std::nullopt;
  }
}

asio::awaitable<Incoming::What> RequestReader::ReadBody(Parser& parser, Incoming& incoming,
                                                        bool continue_expected) {
  while (true) {
    if (!unread().empty()) {
      boost::system::error_code error;
      const auto bytes = asio::buffer(unread());
      Consume(parser.put(bytes, error));
      if (error && error != http::error::need_more) {
        incoming.plan.refusal = BodyRefusal(error);
        co_return Incoming::What::kRefused;
      }
    }
    if (parser.is_done()) co_return Incoming::What::kRequest;
    if (continue_expected && parser.is_header_done()) {
      continue_expected = false;
      const net::Io io = co_await connection_.Write(kContinue);
      if (io.error) co_return Incoming::What::kEnd;
    }
    const bool full = end_ - begin_ == buffer_.size();
    const bool more = co_await ReadMore();
    if (more) continue;
    if (!full) co_return Incoming::What::kEnd;
    incoming.plan.refusal = Refuse(400, "framing", "chunk headers of ordinary length");
    co_return Incoming::What::kRefused;
  }
}

asio::awaitable<Incoming> RequestReader::Next() {
  Incoming incoming;
  if (unread().empty()) {
    connection_.Deadline(limits_.idle_time_max);
    idle_ = true;
    const bool more = co_await ReadMore();
    idle_ = false;
    if (!more) co_return incoming;
  }
  connection_.Deadline(limits_.request_time_max);
  const auto size = co_await ReadHead();
  if (!size) co_return incoming;

  GateHead head;
  if (const auto refusal = JudgeHead(unread().substr(0, *size), limits_.body_bytes_max, head)) {
    incoming.what = Incoming::What::kRefused;
    incoming.plan.refusal = Refuse(refusal->status, refusal->rule, refusal->expected);
    co_return incoming;
  }
  incoming.plan = service_.Judge(head);  // before the buffer moves: the head points into it
  incoming.head_only = head.method == "HEAD";
  const bool continue_expected = head.continue_expected;
  if (continue_expected && incoming.plan.refusal.has_value()) {
    incoming.what = Incoming::What::kRefused;
    co_return incoming;
  }

  Parser parser;
  parser.header_limit(limits::kHeadBytesMax);
  parser.body_limit(limits_.body_bytes_max);
  parser.eager(true);
  incoming.what = co_await ReadBody(parser, incoming, continue_expected);
  if (incoming.what == Incoming::What::kRequest) {
    incoming.keep_alive = parser.keep_alive();
    incoming.body = std::move(parser.get().body());
  }
  co_return incoming;
}

}  // namespace dwell::intake
