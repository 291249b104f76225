// The addresses of a host, within a bounded time.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <chrono>
#include <string>
#include <vector>

#include "schemas/base/result.h"

namespace dwell::net {

/// All addresses of `host` (a name, or an address as text) in the system's order; never empty.
/// The system's look-up cannot be stopped: after `time_max` it is left to itself.
/// Errors: kNetwork.
boost::asio::awaitable<Result<std::vector<boost::asio::ip::tcp::endpoint>>> Resolve(
    const std::string& host, const std::string& port, std::chrono::milliseconds time_max);

}  // namespace dwell::net
