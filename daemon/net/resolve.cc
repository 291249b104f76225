#include "daemon/net/resolve.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/this_coro.hpp>
#include <charconv>

namespace dwell::net {
namespace asio = boost::asio;
namespace {

using asio::ip::tcp;

struct Lookup {
  explicit Lookup(const asio::any_io_executor& executor) : resolver(executor), bell(executor) {}
  tcp::resolver resolver;
  asio::steady_timer bell;  // rung when the look-up is done
  boost::system::error_code error = asio::error::timed_out;
  std::vector<tcp::endpoint> addresses;
};

}  // namespace

asio::awaitable<Result<std::vector<tcp::endpoint>>> Resolve(const std::string& host,
                                                            const std::string& port,
                                                            std::chrono::milliseconds time_max) {
  boost::system::error_code not_an_address;
  const asio::ip::address address = asio::ip::make_address(host, not_an_address);
  std::uint16_t number = 0;
  std::from_chars(port.data(), port.data() + port.size(), number);
  if (!not_an_address) co_return std::vector<tcp::endpoint>(1, tcp::endpoint(address, number));

  const auto lookup = std::make_shared<Lookup>(co_await asio::this_coro::executor);
  lookup->bell.expires_after(time_max);
  lookup->resolver.async_resolve(
      host, port, tcp::resolver::numeric_service,
      [lookup](const boost::system::error_code& error, const tcp::resolver::results_type& found) {
        lookup->error = error;
        for (const auto& entry : found) lookup->addresses.push_back(entry.endpoint());
        lookup->bell.cancel();
      });
  co_await lookup->bell.async_wait(asio::as_tuple(asio::deferred));
  if (lookup->error || lookup->addresses.empty()) {
    co_return Error(ErrorKind::kNetwork,
                    "no address for \"" + host + "\": " + lookup->error.message());
  }
  co_return std::move(lookup->addresses);
}

}  // namespace dwell::net
