#include "daemon/delivery/token_client.h"

#include <array>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/deferred.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cstdio>
#include <random>

#include "daemon/base/limits.h"
#include "daemon/base/log.h"
#include "daemon/delivery/assertion.h"

namespace dwell::delivery {
namespace asio = boost::asio;
namespace {

using std::chrono::seconds;
using TokenCourse = TokenAnswer::Course;

/// 128 bits of the system's chance in hexadecimal: never the same twice, also after a restart.
std::string NewJti() {
  std::random_device device;
  std::array<char, 33> text{};
  std::snprintf(text.data(), text.size(), "%08x%08x%08x%08x", device(), device(), device(),
                device());
  return text.data();
}

TokenAnswer Unasked(const Error& error) {
  TokenAnswer answer;
  answer.course = TokenCourse::kRefused;
  answer.why = error.message();
  return answer;
}

}  // namespace

/// One request on its way; others who need the same wait for its bell.
struct TokenClient::Asking {
  explicit Asking(const asio::any_io_executor& executor)
      : bell(executor, asio::steady_timer::time_point::max()) {}
  asio::steady_timer bell;
  std::unique_ptr<net::HttpClient> client;
};

TokenClient::TokenClient(asio::any_io_executor executor, TokenService service,
                         const base::Clock& clock, Means means)
    : executor_(std::move(executor)),
      service_(std::move(service)),
      clock_(clock),
      means_(std::move(means)) {}

std::shared_ptr<TokenClient::Asking> TokenClient::Begin() {
  now_ = std::make_shared<Asking>(executor_);
  return now_;
}

asio::awaitable<std::optional<Verdict>> TokenClient::Ready() {
  switch (state_.Next(means_.steady())) {
    case TokenState::Step::kUse:
      co_return std::nullopt;
    case TokenState::Step::kUseRenew:
      if (!now_) asio::co_spawn(executor_, Renew(Begin()), asio::detached);
      co_return std::nullopt;
    case TokenState::Step::kRest:
      co_return Obstacle();
    case TokenState::Step::kRenew:
      break;
  }
  if (const std::shared_ptr<Asking> other = now_) {
    co_await other->bell.async_wait(asio::as_tuple(asio::deferred));
  } else {
    const std::shared_ptr<Asking> own = Begin();
    co_await Renew(own);
  }
  co_return Obstacle();
}

asio::awaitable<void> TokenClient::Renew(std::shared_ptr<Asking> asking) {
  TokenState::Time asked{};
  TokenAnswer answer = co_await Ask(asked);
  Learn(std::move(answer), asked);
  asking->client.reset();
  now_.reset();
  asking->bell.cancel();
}

/// The key is read anew each time, so that it may be replaced while we run.
asio::awaitable<TokenAnswer> TokenClient::Ask(TokenState::Time& asked) {
  const Result<net::SigningKey> key = net::SigningKey::Read(service_.key_file);
  if (!key) co_return Unasked(key.error());
  const std::shared_ptr<Asking> own = now_;
  own->client = std::make_unique<net::HttpClient>(service_.origin, service_.tls);
  const std::string jti = NewJti();
  Claims claims;
  claims.client_id = service_.client_id;
  claims.token_url = service_.token_url;
  claims.expires = clock_.Now() - skew_.ahead() + limits::kAssertionLife;  // by the issuer's clock
  claims.jti = jti;
  const std::string form = TokenForm(service_.scope, Assertion(*key, service_.key_id, claims));
  net::Request request;
  request.method = "POST";
  request.target = service_.target;
  request.fields =
      "Accept: application/json\r\nContent-Type: application/x-www-form-urlencoded\r\n"
      "User-Agent: dwelld\r\n";
  request.body = form;
  asked = means_.steady();
  const net::Exchange exchange = co_await own->client->Send(request, service_.time_max);
  const bool is_news = skew_.Look(exchange.date, clock_.Now());
  if (is_news) {
    log::Write(log::Level::kWarning, "clock-differs-from-token-endpoint",
               {{"ahead_s", skew_.ahead().count()}});
  }
  TokenAnswer answer = JudgeTokenAnswer(exchange, clock_.Now());
  // Perhaps it refused what our clock wrote into the statement. The next goes by the issuer's.
  if (is_news && answer.course == TokenCourse::kRefused) answer.retry_after = limits::kBackoffMin;
  co_return answer;
}

void TokenClient::Learn(TokenAnswer answer, TokenState::Time asked) {
  if (answer.course == TokenCourse::kToken) {
    state_.Got(std::move(answer.token), answer.lifetime, asked);
    failures_ = 0;
    last_ = TokenAnswer();
    return;
  }
  ++failures_;
  std::chrono::milliseconds wait = WaitAfter(means_.backoff, failures_, means_.random());
  if (answer.course == TokenCourse::kRefused) wait = limits::kTokenRefusedPause;
  if (answer.retry_after) wait = *answer.retry_after;
  state_.Failed(means_.steady() + wait);
  log::Write(log::Level::kWarning, "token-request-failed",
             {{"status", answer.status},
              {"refused", answer.course == TokenCourse::kRefused},
              {"failures", failures_}});
  last_ = std::move(answer);
}

/// Why an attempt cannot be made now; empty when there is a token that serves.
std::optional<Verdict> TokenClient::Obstacle() const {
  const auto now = means_.steady();
  const TokenState::Step step = state_.Next(now);
  if (step == TokenState::Step::kUse || step == TokenState::Step::kUseRenew) return std::nullopt;
  Verdict verdict;
  verdict.course = Course::kPause;
  verdict.untouched = true;
  verdict.pauses = true;
  verdict.why = "no access token: ";
  verdict.why += last_.why.empty() ? "the last one ended before it could be used" : last_.why;
  const auto rest = std::chrono::floor<seconds>(state_.rests_until() - now);
  if (rest > seconds(0)) verdict.retry_after = rest;  // else the pause's own backoff serves
  return verdict;
}

void TokenClient::Close() {
  if (now_ && now_->client) now_->client->Close();
}

}  // namespace dwell::delivery
