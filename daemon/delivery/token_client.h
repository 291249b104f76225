// Gets access tokens by SMART Backend Services: one request for all who need a token, early enough
// that nobody waits. Inside of delivery; on the thread of its loop.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/awaitable.hpp>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "daemon/base/clock.h"
#include "daemon/delivery/backoff.h"
#include "daemon/delivery/clock_skew.h"
#include "daemon/delivery/token_answer.h"
#include "daemon/delivery/token_state.h"
#include "daemon/delivery/verdict.h"
#include "daemon/net/http_client.h"

namespace dwell::delivery {

/// Whom we ask for tokens, and as whom.
struct TokenService {
  net::Origin origin;
  std::string target;     ///< path of the token endpoint
  std::string token_url;  ///< the whole, as it is called: the audience of our statement
  std::string client_id, key_file, key_id, scope;
  std::shared_ptr<net::TlsSource> tls;
  std::chrono::milliseconds time_max{};  ///< of one request
};

class TokenClient {
 public:
  struct Means {
    Backoff backoff;
    std::function<std::uint64_t()> random;
    std::function<TokenState::Time()> steady;
  };

  /// `clock` outlives it.
  TokenClient(boost::asio::any_io_executor executor, TokenService service, const base::Clock& clock,
              Means means);

  /// Waits until there is a token that serves; otherwise the verdict that stands for the attempt
  /// that could not be made: the endpoint pauses, the bundle is untouched.
  boost::asio::awaitable<std::optional<Verdict>> Ready();

  TokenState& state() { return state_; }
  /// How far our clock is ahead of the issuer's, when that is worth telling.
  std::optional<std::chrono::seconds> clock_ahead() const { return skew_.trouble(); }
  /// A request in progress fails.
  void Close();

 private:
  struct Asking;
  boost::asio::awaitable<void> Renew(std::shared_ptr<Asking> asking);
  boost::asio::awaitable<TokenAnswer> Ask(TokenState::Time& asked);
  std::shared_ptr<Asking> Begin();
  std::optional<Verdict> Obstacle() const;
  void Learn(TokenAnswer answer, TokenState::Time asked);

  boost::asio::any_io_executor executor_;
  TokenService service_;
  const base::Clock& clock_;
  Means means_;
  TokenState state_;
  ClockSkew skew_;
  TokenAnswer last_;             ///< when it is no token: why there is none
  std::uint32_t failures_ = 0;   ///< in a row
  std::shared_ptr<Asking> now_;  ///< the request on its way
};

}  // namespace dwell::delivery
