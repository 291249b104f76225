// A question to the store, awaited in a coroutine.
#pragma once

#include <boost/asio/async_result.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <functional>
#include <memory>
#include <utility>

#include "daemon/store/writer.h"

namespace dwell::admin {

/// Runs `work` on the store thread, inside a transaction of its own or shared, and comes back to
/// the caller's executor with what it found.
template <class T>
boost::asio::awaitable<Result<T>> OnStore(store::Writer& writer,
                                          std::function<Result<T>(store::Store&)> work) {
  namespace asio = boost::asio;
  const asio::any_io_executor executor = co_await asio::this_coro::executor;
  auto start = [&writer, executor, work = std::move(work)](auto handler) mutable {
    auto waiting = std::make_shared<decltype(handler)>(std::move(handler));
    auto found = std::make_shared<Result<T>>(Error());
    store::Job job;
    job.work = [found, work = std::move(work)](store::Store& store) -> Result<void> {
      *found = work(store);
      if (!*found) return found->error();
      return {};
    };
    job.done = [found, waiting, executor](const Result<void>& result) {
      if (!result) *found = result.error();
      asio::post(executor, [found, waiting] { (*waiting)(std::move(*found)); });
    };
    writer.Post(std::move(job));
  };
  co_return co_await asio::async_initiate<const asio::use_awaitable_t<>&, void(Result<T>)>(
      std::move(start), asio::use_awaitable);
}

}  // namespace dwell::admin
