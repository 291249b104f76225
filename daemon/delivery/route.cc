#include "daemon/delivery/route.h"

#include "daemon/delivery/url.h"
#include "daemon/net/signing_key.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace {

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

}  // namespace

Result<Route> PrepareRoute(const Endpoint& endpoint) {
  Route route;
  route.number = endpoint.number;
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

Credentials MakeCredentials(const boost::asio::any_io_executor& executor, Route& route,
                            const base::Clock& clock, const Means& means) {
  std::unique_ptr<TokenClient> tokens;
  if (route.tokens) {
    TokenClient::Means own;
    own.backoff = means.backoff;
    own.random = means.random;
    own.steady = means.steady;
    tokens =
        std::make_unique<TokenClient>(executor, std::move(*route.tokens), clock, std::move(own));
  }
  return {std::move(route.token), std::move(tokens), means.steady};
}

}  // namespace dwell::delivery
