#include "daemon/config/together.h"

#include <algorithm>
#include <functional>

#include "mapping/fhir/meta.h"

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

using Add = std::function<void(const char* pointer, const char* expected)>;

/// SMART Backend Services: all of it or nothing.
void CheckTokens(const Config::Endpoint& endpoint, const Add& add) {
  const auto texts = {&endpoint.token_url, &endpoint.client_id, &endpoint.key_file,
                      &endpoint.key_id, &endpoint.scope};
  const auto given = std::count_if(texts.begin(), texts.end(),
                                   [](const std::string* text) { return !text->empty(); });
  if (given == 0) return;
  if (given < static_cast<std::ptrdiff_t>(texts.size())) {
    add("/endpoint", "token_url, client_id, key_file, key_id and scope, all or none");
  }
  if (!endpoint.bearer_file.empty()) {
    add("/endpoint/bearer_file", "either this or token_url: one way to get in");
  }
  if (!endpoint.token_url.empty() && !IsSafeUrl(endpoint.token_url)) {
    add("/endpoint/token_url",
        "https:// (http:// only on this machine), a host and a path; no user, query or fragment");
  }
}

}  // namespace

std::vector<Finding> CheckTogether(const Config& config, const TomlDocument& toml) {
  std::vector<Finding> findings;
  const auto add = [&](const char* pointer, const char* expected) {
    findings.push_back({toml.file, toml.LineOf(pointer), pointer, expected});
  };
  if (!IsHttpUrl(config.endpoint.url)) {
    add("/endpoint/url", "http:// or https://, a host and a path; no user, query or fragment");
  }
  if (config.site.site_namespace.find(':') == std::string::npos ||
      config.site.site_namespace.find(' ') != std::string::npos) {
    add("/site/namespace", "an absolute URI such as https://hospital.example/dwelld");
  }
  if (config.intake.certificate.empty() != config.intake.private_key.empty()) {
    add("/intake", "certificate and private_key, both or neither");
  }
  if (config.endpoint.certificate.empty() != config.endpoint.private_key.empty()) {
    add("/endpoint", "certificate and private_key, both or neither");
  }
  CheckTokens(config.endpoint, add);
  for (std::size_t i = 0; i < config.resources.security.size(); ++i) {
    if (fhir::ReadSecurityLabel(config.resources.security[i])) continue;
    add(("/resources/security/" + std::to_string(i)).c_str(),
        "a security label \"system|code\" or \"system|code|display\", the system an absolute URI");
  }
  return findings;
}

}  // namespace dwell::config
