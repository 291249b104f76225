// A question that is answered by a callback, perhaps on another thread, awaited in a coroutine.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/async_result.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <functional>
#include <memory>
#include <utility>

namespace dwell::net {

/// Calls `ask` with a function that takes the answer, once, on any thread; goes on with it on the
/// caller's own executor.
template <class T>
boost::asio::awaitable<T> Await(std::function<void(const std::function<void(T)>&)> ask) {
  namespace asio = boost::asio;
  const asio::any_io_executor executor = co_await asio::this_coro::executor;
  auto start = [executor, ask = std::move(ask)](auto handler) {
    auto waiting = std::make_shared<decltype(handler)>(std::move(handler));
    ask([executor, waiting](T answer) {
      asio::post(executor, [waiting, answer = std::move(answer)]() mutable {
        (*waiting)(std::move(answer));
      });
    });
  };
  co_return co_await asio::async_initiate<const asio::use_awaitable_t<>&, void(T)>(
      std::move(start), asio::use_awaitable);
}

}  // namespace dwell::net
