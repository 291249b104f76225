#include "daemon/net/resolve.h"

#include <netdb.h>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/this_coro.hpp>
#include <charconv>
#include <cstring>
#include <memory>
#include <mutex>
#include <system_error>
#include <thread>

#include "daemon/base/thread_name.h"

namespace dwell::net {
namespace asio = boost::asio;
namespace {

using asio::ip::tcp;
using Addresses = std::vector<tcp::endpoint>;

/// What the thread that looks up and the one that waits for it share. It may outlive the loop.
struct Lookup {
  std::mutex mutex;
  asio::steady_timer* bell = nullptr;  ///< of who waits; null: nobody any more. Guarded by mutex
  int code = EAI_AGAIN;                ///< of getaddrinfo; once it is done
  bool is_done = false;                ///< guarded by mutex
  Addresses addresses;                 ///< once it is done
};

/// From here on nobody waits.
struct Leave {
  explicit Leave(Lookup& left) : lookup(left) {}
  ~Leave() {
    const std::scoped_lock lock(lookup.mutex);
    lookup.bell = nullptr;
  }
  Leave(const Leave&) = delete;
  Leave& operator=(const Leave&) = delete;
  Lookup& lookup;
};

Addresses CopyOf(const addrinfo* list) {
  Addresses addresses;
  for (; list != nullptr; list = list->ai_next) {
    tcp::endpoint endpoint;
    if (list->ai_addrlen > endpoint.capacity()) continue;
    std::memcpy(endpoint.data(), list->ai_addr, list->ai_addrlen);
    endpoint.resize(list->ai_addrlen);
    addresses.push_back(endpoint);
  }
  return addresses;
}

/// Takes as long as the system likes.
void LookUp(const std::shared_ptr<Lookup>& lookup, const std::string& host,
            const std::string& port) {
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  hints.ai_flags = AI_NUMERICSERV;
  addrinfo* list = nullptr;
  const int code = ::getaddrinfo(host.c_str(), port.c_str(), &hints, &list);
  Addresses addresses = CopyOf(list);
  if (list != nullptr) ::freeaddrinfo(list);
  const std::scoped_lock lock(lookup->mutex);
  lookup->code = code;
  lookup->addresses = std::move(addresses);
  lookup->is_done = true;
  if (lookup->bell == nullptr) return;
  asio::post(lookup->bell->get_executor(), [lookup] {
    const std::scoped_lock ringing(lookup->mutex);
    if (lookup->bell != nullptr) lookup->bell->cancel();
  });
}

/// False: the system has no thread for it.
bool StartLookUp(const std::shared_ptr<Lookup>& lookup, const std::string& host,
                 const std::string& port) {
  try {
    std::thread([lookup, host, port] {
      base::NameThread("look-up");
      LookUp(lookup, host, port);
    }).detach();
  } catch (const std::system_error&) {
    return false;
  }
  return true;
}

}  // namespace

// Not with Asio's resolver: a loop does not end before its look-ups do, and those of a silent name
// server take tens of seconds, one after another.
asio::awaitable<Result<Addresses>> Resolve(const std::string& host, const std::string& port,
                                           std::chrono::milliseconds time_max) {
  boost::system::error_code not_an_address;
  const asio::ip::address address = asio::ip::make_address(host, not_an_address);
  std::uint16_t number = 0;
  std::from_chars(port.data(), port.data() + port.size(), number);
  if (!not_an_address) co_return Addresses(1, tcp::endpoint(address, number));

  const auto lookup = std::make_shared<Lookup>();
  asio::steady_timer bell(co_await asio::this_coro::executor, time_max);
  lookup->bell = &bell;
  const Leave leave(*lookup);
  const std::string no_address = "no address for \"" + host + "\": ";
  if (!StartLookUp(lookup, host, port)) {
    co_return Error(ErrorKind::kNetwork, no_address + "the system has no thread to look it up");
  }
  co_await bell.async_wait(asio::as_tuple(asio::deferred));
  const std::scoped_lock lock(lookup->mutex);
  if (!lookup->is_done) {
    co_return Error(ErrorKind::kNetwork, no_address + "the look-up was not done in time");
  }
  if (lookup->code != 0 || lookup->addresses.empty()) {
    co_return Error(ErrorKind::kNetwork, no_address + ::gai_strerror(lookup->code));
  }
  co_return std::move(lookup->addresses);
}

}  // namespace dwell::net
