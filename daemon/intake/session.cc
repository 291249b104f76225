#include "daemon/intake/session.h"

#include <array>
#include <boost/asio/async_result.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <memory>

#include "daemon/base/limits.h"

namespace dwell::intake {

namespace asio = net::asio;

asio::awaitable<Reply> Session::Ask(Incoming incoming) {
  const asio::any_io_executor executor = co_await asio::this_coro::executor;
  auto start = [executor, incoming = std::move(incoming)](auto handler) mutable {
    auto waiting = std::make_shared<decltype(handler)>(std::move(handler));
    // The answer may come on another thread; the coroutine goes on on its own.
    incoming.plan.answer(std::move(incoming.body), [executor, waiting](Reply reply) {
      asio::post(executor,
                 [waiting, reply = std::move(reply)]() mutable { (*waiting)(std::move(reply)); });
    });
  };
  co_return co_await asio::async_initiate<const asio::use_awaitable_t<>&, void(Reply)>(
      std::move(start), asio::use_awaitable);
}

asio::awaitable<bool> Session::Answer(const Reply& reply, bool head_only, bool close) {
  const std::string head = ResponseHead(reply, date_.At(clock_.Now()), close);
  const std::string_view body = head_only ? std::string_view() : std::string_view(reply.body);
  const net::Io io = co_await connection_.Write(head, body);
  co_return !io.error;
}

asio::awaitable<void> Session::Linger() {
  connection_.Deadline(limits::kLingerTimeMax);
  co_await connection_.Finish();
  std::array<char, 4096> dropped;
  std::size_t bytes = 0;
  while (bytes < limits::kLingerBytesMax) {
    const net::Io io = co_await connection_.ReadSome(dropped);
    if (io.error) break;
    bytes += io.bytes;
  }
  connection_.Close();
}

asio::awaitable<void> Session::TurnAway(Reply reply) {
  connection_.Deadline(limits::kLingerTimeMax);
  const bool written = co_await Answer(reply, false, true);
  if (written) co_await Linger();
}

asio::awaitable<void> Session::Run() {
  while (true) {
    Incoming incoming = co_await reader_.Next();
    if (incoming.what == Incoming::What::kEnd) co_return;
    const bool refused = incoming.what == Incoming::What::kRefused;
    const bool head_only = incoming.head_only;
    const bool keep_alive = incoming.keep_alive;
    Reply reply;
    if (incoming.plan.refusal.has_value()) {
      reply = std::move(*incoming.plan.refusal);
    } else {
      reply = co_await Ask(std::move(incoming));
    }
    connection_.Deadline(limits_.request_time_max);  // for writing: the store's time is not theirs
    const bool close = refused || !keep_alive || draining_;
    const bool written = co_await Answer(reply, head_only, close);
    if (!written) co_return;
    if (close) co_return co_await Linger();
  }
}

void Session::Drain() {
  draining_ = true;
  if (reader_.idle()) connection_.Close();
}

}  // namespace dwell::intake
