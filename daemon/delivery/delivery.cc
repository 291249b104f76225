#include "daemon/delivery/delivery.h"

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <random>
#include <thread>

#include "daemon/base/thread_name.h"
#include "daemon/delivery/dispatcher.h"
#include "daemon/delivery/url.h"
#include "daemon/net/signing_key.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace asio = boost::asio;
namespace {

class RunningDelivery final : public Delivery {
 public:
  RunningDelivery(store::Writer& writer, const base::Clock& clock, Route route,
                  std::size_t in_flight_max, Means means)
      : dispatcher_(loop_, writer, clock, std::move(route), in_flight_max, std::move(means)),
        thread_([this] {
          base::NameThread("delivery");
          loop_.run();
        }) {
    Wake();
  }
  ~RunningDelivery() override { Stop(std::chrono::milliseconds(0)); }

  void Wake() override {
    if (woken_.exchange(true)) return;  // the one before is still on its way
    asio::post(loop_, [this] {
      woken_ = false;
      dispatcher_.Step(true);
    });
  }

  void Stop(std::chrono::milliseconds time_max) override {
    if (!thread_.joinable()) return;
    asio::post(loop_, [this, time_max] { dispatcher_.Drain(time_max); });
    thread_.join();
  }

  Progress progress() const override { return dispatcher_.progress(); }

 private:
  asio::io_context loop_{1};
  std::atomic<bool> woken_{false};
  Dispatcher dispatcher_;
  std::thread thread_;  // last: it uses all of the above
};

Means Complete(Means means) {
  if (!means.random) {
    means.random = [engine = std::mt19937_64(std::random_device()())]() mutable {
      return engine();
    };
  }
  if (!means.steady) means.steady = [] { return std::chrono::steady_clock::now(); };
  return means;
}

net::Origin OriginOf(const Url& url) {
  net::Origin origin;
  origin.host = url.host;
  origin.port = url.port;
  origin.tls = url.tls;
  return origin;
}

std::string TargetOf(const Url& url) { return url.path.empty() ? "/" : url.path; }

/// Null when the URL asks for none.
Result<std::shared_ptr<net::TlsSource>> OpenTls(const Url& url, const net::TlsFiles& files) {
  if (!url.tls) return std::shared_ptr<net::TlsSource>();
  auto tls = net::TlsSource::Open(net::TlsSource::End::kClient, files);
  if (!tls) return tls.error();
  return std::make_shared<net::TlsSource>(std::move(*tls));
}

Result<TokenService> PrepareTokens(const Endpoint& endpoint) {
  const TokenSource& source = endpoint.tokens;
  const Result<Url> url = ReadUrl(source.token_url);
  if (!url) return Error(url.error().kind(), "token " + url.error().message());
  if (const auto key = net::SigningKey::Read(source.key_file); !key) return key.error();
  TokenService service;
  service.origin = OriginOf(*url);
  service.target = TargetOf(*url);
  // Unlike a base URL, this one is used as it stands.
  if (source.token_url.ends_with('/') && service.target != "/") service.target += "/";
  service.token_url = source.token_url;
  service.client_id = source.client_id;
  service.key_file = source.key_file;
  service.key_id = source.key_id;
  service.scope = source.scope;
  auto tls = OpenTls(*url, endpoint.tls);
  if (!tls) return tls.error();
  service.tls = std::move(*tls);
  service.time_max = endpoint.attempt_time_max;
  return service;
}

Result<Route> Prepare(const Endpoint& endpoint) {
  Route route;
  const Result<Url> url = ReadUrl(endpoint.url);
  if (!url) return url.error();
  route.origin = OriginOf(*url);
  route.target = TargetOf(*url);
  route.attempt_time_max = endpoint.attempt_time_max;
  if (endpoint.look_ups.patients) route.looked_up.emplace_back("Patient");
  if (endpoint.look_ups.encounters) route.looked_up.emplace_back("Encounter");
  route.cached_for = endpoint.look_ups.cached_for;
  auto tls = OpenTls(*url, endpoint.tls);
  if (!tls) return tls.error();
  route.tls = std::move(*tls);
  Result<TokenFile> token = TokenFile::Open(endpoint.bearer_file);
  if (!token) return token.error();
  route.token = std::move(*token);
  if (endpoint.tokens.token_url.empty()) return route;
  CHECK(endpoint.bearer_file.empty());
  Result<TokenService> tokens = PrepareTokens(endpoint);
  if (!tokens) return tokens.error();
  route.tokens = std::move(*tokens);
  return route;
}

}  // namespace

Result<std::unique_ptr<Delivery>> Delivery::Start(store::Writer& writer, const base::Clock& clock,
                                                  const Endpoint& endpoint, Means means) {
  CHECK(endpoint.in_flight_max > 0);
  Result<Route> route = Prepare(endpoint);
  if (!route) return route.error();
  return std::unique_ptr<Delivery>(std::make_unique<RunningDelivery>(
      writer, clock, std::move(*route), endpoint.in_flight_max, Complete(std::move(means))));
}

}  // namespace dwell::delivery
