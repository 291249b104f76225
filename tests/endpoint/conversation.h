// One connection of the practice endpoint: reads requests, answers them as the desk and its mood
// say.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <memory>

#include "daemon/net/connection.h"
#include "tests/endpoint/desk.h"

namespace practice {

/// Until the peer closes, an error, or a mood that ends it. Connections idle for a minute are
/// closed.
boost::asio::awaitable<void> Converse(std::shared_ptr<dwell::net::Connection> connection,
                                      Desk& desk);

}  // namespace practice
