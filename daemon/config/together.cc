#include "daemon/config/together.h"

#include <arpa/inet.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <functional>
#include <set>

#include "mapping/fhir/meta.h"
#include "mapping/fhir/plan.h"

namespace dwell::config {
namespace {

bool IsHttpUrl(std::string_view url) {
  const std::string_view scheme = url.substr(0, url.find("://"));
  if (scheme != "http" && scheme != "https") return false;
  const std::string_view rest = url.substr(scheme.size() + 3);
  return !rest.empty() && rest.front() != '/' && rest.find_first_of("@?# ") == rest.npos;
}

/// Who can read a statement on its way could not use it elsewhere, but the token that comes back:
/// so plain http serves only inside this machine.
bool IsSafeUrl(std::string_view url) {
  if (!IsHttpUrl(url)) return false;
  if (url.starts_with("https://")) return true;
  url.remove_prefix(std::string_view("http://").size());
  const std::string_view authority = url.substr(0, url.find('/'));
  for (const std::string_view host : {"localhost", "127.0.0.1", "[::1]"}) {
    if (!authority.starts_with(host)) continue;
    if (authority.size() == host.size() || authority[host.size()] == ':') return true;
  }
  return false;
}

using Add = std::function<void(const std::string& pointer, const std::string& expected)>;

/// SMART Backend Services: all of it or nothing.
void CheckTokens(const Config::Endpoint& endpoint, const std::string& at, const Add& add) {
  const auto texts = {&endpoint.token_url, &endpoint.client_id, &endpoint.key_file,
                      &endpoint.key_id, &endpoint.scope};
  const auto given = std::count_if(texts.begin(), texts.end(),
                                   [](const std::string* text) { return !text->empty(); });
  if (given == 0) return;
  if (given < static_cast<std::ptrdiff_t>(texts.size())) {
    add(at, "token_url, client_id, key_file, key_id and scope, all or none");
  }
  if (!endpoint.bearer_file.empty()) {
    add(at + "/bearer_file", "either this or token_url: one way to get in");
  }
  if (!endpoint.token_url.empty() && !IsSafeUrl(endpoint.token_url)) {
    add(at + "/token_url",
        "https:// (http:// only on this machine), a host and a path; no user, query or fragment");
  }
}

/// It stands in listings, and in the store for good.
bool IsEndpointName(std::string_view name) {
  constexpr std::size_t kBytesMax = 32;
  return !name.empty() && name.size() <= kBytesMax && name != "main" &&
         name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-") == name.npos;
}

void CheckTypes(const Config::Endpoint& endpoint, const std::string& at, const Add& add) {
  const auto written = fhir::TypesWritten(*FhirReleaseOf(endpoint.fhir_version));
  std::string names;
  for (const std::string_view type : written) names.append(names.empty() ? "" : ", ").append(type);
  for (std::size_t i = 0; i < endpoint.types.size(); ++i) {
    if (std::ranges::count(written, endpoint.types[i]) != 0) continue;
    add(at + "/types/" + std::to_string(i), "a type that is sent: " + names);
  }
  if (endpoint.types.size() == 1 && endpoint.types.front() == "Provenance") {
    add(at + "/types", "a type besides Provenance, which alone tells of nothing");
  }
}

void CheckEndpoint(const Config::Endpoint& endpoint, const std::string& at, const Add& add) {
  if (!IsHttpUrl(endpoint.url)) {
    add(at + "/url", "http:// or https://, a host and a path; no user, query or fragment");
  }
  if (endpoint.certificate.empty() != endpoint.private_key.empty()) {
    add(at, "certificate and private_key, both or neither");
  }
  CheckTokens(endpoint, at, add);
  CheckTypes(endpoint, at, add);
}

/// Two names for one place would send everything there twice.
void CheckEndpoints(const Config& config, const TomlDocument& toml, const Add& add) {
  CheckEndpoint(config.endpoint, "/endpoint", add);
  std::set<std::string> urls{config.endpoint.url};
  for (const Config::Endpoint& endpoint : config.endpoints) {
    const std::string at = "/endpoints/" + endpoint.name;
    if (!IsEndpointName(endpoint.name)) {
      add(at, "a name of at most 32 small letters, digits and hyphens that is not \"main\"");
    }
    if (toml.lines.contains(at + "/fhir_version")) {
      add(at + "/fhir_version", "that of [endpoint]: the same for all");
    }
    CheckEndpoint(endpoint, at, add);
    if (!urls.insert(endpoint.url).second) add(at + "/url", "no URL that another endpoint has");
  }
}

}  // namespace

std::optional<ListenAt> ReadListen(std::string_view text) {
  const std::size_t colon = text.rfind(':');
  if (colon == text.npos) return std::nullopt;
  ListenAt at{std::string(text.substr(0, colon)), 0};
  const bool is_v6 = at.address.starts_with('[') && at.address.ends_with(']');
  if (is_v6) at.address = at.address.substr(1, at.address.size() - 2);
  std::array<unsigned char, sizeof(in6_addr)> bytes{};
  if (inet_pton(is_v6 ? AF_INET6 : AF_INET, at.address.c_str(), bytes.data()) != 1) {
    return std::nullopt;
  }
  const char* const end = text.data() + text.size();
  const auto read = std::from_chars(text.data() + colon + 1, end, at.port);
  if (read.ec != std::errc() || read.ptr != end) return std::nullopt;
  return at;
}

std::vector<Finding> CheckTogether(const Config& config, const TomlDocument& toml) {
  std::vector<Finding> findings;
  const Add add = [&](const std::string& pointer, const std::string& expected) {
    findings.push_back({toml.file, toml.LineOf(pointer), pointer, expected});
  };
  CheckEndpoints(config, toml, add);
  if (config.site.site_namespace.find(':') == std::string::npos ||
      config.site.site_namespace.find(' ') != std::string::npos) {
    add("/site/namespace", "an absolute URI such as https://hospital.example/dwelld");
  }
  if (config.intake.certificate.empty() != config.intake.private_key.empty()) {
    add("/intake", "certificate and private_key, both or neither");
  }
  if (!config.operate.listen.empty() && !ReadListen(config.operate.listen)) {
    add("/operate/listen", "an IP address of this machine and a port, such as 127.0.0.1:8081");
  }
  if (!config.search.listen.empty() && !ReadListen(config.search.listen)) {
    add("/search/listen", "an IP address of this machine and a port, such as 127.0.0.1:8082");
  }
  for (std::size_t i = 0; i < config.resources.security.size(); ++i) {
    if (fhir::ReadSecurityLabel(config.resources.security[i])) continue;
    add("/resources/security/" + std::to_string(i),
        "a security label \"system|code\" or \"system|code|display\", the system an absolute URI");
  }
  return findings;
}

}  // namespace dwell::config
