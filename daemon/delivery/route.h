// The way to the endpoint as it is configured: where, by which TLS, and with what lets us in.
// Inside of delivery.
#pragma once

#include <string>
#include <vector>

#include "daemon/delivery/credentials.h"
#include "daemon/delivery/delivery.h"

namespace dwell::delivery {

/// What every attempt needs, made once.
struct Route {
  std::int64_t number = 0;  ///< see Endpoint
  net::Origin origin;
  std::shared_ptr<net::TlsSource> tls;
  std::string target;  ///< path of the base URL
  TokenFile token;
  std::optional<TokenService> tokens;  ///< then `token` is none
  std::chrono::milliseconds attempt_time_max{};
  std::vector<std::string> looked_up;  ///< types whose searches are replaced by ids before sending
  std::chrono::milliseconds cached_for{};
};

/// Errors as those of Delivery::Start().
Result<Route> PrepareRoute(const Endpoint& endpoint);

/// Takes the token file or the token service out of `route`. `clock` outlives it.
Credentials MakeCredentials(const boost::asio::any_io_executor& executor, Route& route,
                            const base::Clock& clock, const Means& means);

}  // namespace dwell::delivery
