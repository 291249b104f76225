#include "daemon/delivery/url.h"

#include <algorithm>
#include <charconv>
#include <optional>

namespace dwell::delivery {
namespace {

Error Wrong(const char* what) { return {ErrorKind::kConfig, std::string("endpoint URL: ") + what}; }

char Lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool IsDigit(char c) { return c >= '0' && c <= '9'; }
bool IsAlnum(char c) { return IsDigit(c) || (Lower(c) >= 'a' && Lower(c) <= 'z'); }
bool IsHex(char c) { return IsDigit(c) || (Lower(c) >= 'a' && Lower(c) <= 'f'); }

std::string Lowered(std::string_view text) {
  std::string lower(text);
  std::transform(lower.begin(), lower.end(), lower.begin(), Lower);
  return lower;
}

/// Takes "scheme://" off the front.
std::optional<bool> TakeScheme(std::string_view& rest) {
  const std::size_t at = rest.find("://");
  if (at == std::string_view::npos) return std::nullopt;
  const std::string scheme = Lowered(rest.substr(0, at));
  rest.remove_prefix(at + 3);
  if (scheme == "https") return true;
  if (scheme == "http") return false;
  return std::nullopt;
}

bool IsHostName(std::string_view host) {
  return !host.empty() && host.size() <= 253 && host.front() != '.' && host.front() != '-' &&
         std::all_of(host.begin(), host.end(),
                     [](char c) { return IsAlnum(c) || c == '-' || c == '.' || c == '_'; });
}

bool IsV6Text(std::string_view host) {
  return std::count(host.begin(), host.end(), ':') >= 2 &&
         std::all_of(host.begin(), host.end(),
                     [](char c) { return IsHex(c) || c == ':' || c == '.'; });
}

bool IsPort(std::string_view text) {
  unsigned number = 0;
  const char* const end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, number);
  return error == std::errc() && stop == end && text.size() <= 5 && number >= 1 && number <= 65535;
}

/// Unreserved, sub-delims, ":", "@", "/" and escapes (RFC 3986 section 3.3).
bool IsPath(std::string_view path) {
  for (std::size_t i = 0; i < path.size(); ++i) {
    const char c = path[i];
    if (c == '%') {
      if (i + 2 >= path.size() || !IsHex(path[i + 1]) || !IsHex(path[i + 2])) return false;
    } else if (!IsAlnum(c) &&
               std::string_view("/-._~!$&'()*+,;=:@").find(c) == std::string_view::npos) {
      return false;
    }
  }
  return true;
}

}  // namespace

Result<Url> ReadUrl(std::string_view text) {
  std::string_view rest = text;
  const std::optional<bool> tls = TakeScheme(rest);
  if (!tls) return Wrong("must begin with http:// or https://");
  Url url;
  url.tls = *tls;

  if (rest.find_first_of("?#") != std::string_view::npos) {
    return Wrong("must have no query and no fragment");
  }
  const std::size_t path_at = std::min(rest.find('/'), rest.size());
  std::string_view authority = rest.substr(0, path_at);
  std::string_view path = rest.substr(path_at);
  if (authority.find('@') != std::string_view::npos) {
    return Wrong("must hold no user name or password; use a token file or a client certificate");
  }

  std::string_view port;
  if (!authority.empty() && authority.front() == '[') {
    const std::size_t close = authority.find(']');
    if (close == std::string_view::npos) return Wrong("the address lacks its closing bracket");
    url.host = Lowered(authority.substr(1, close - 1));
    port = authority.substr(close + 1);
    if (!IsV6Text(url.host)) return Wrong("in brackets there must be an IPv6 address");
  } else {
    const std::size_t colon = std::min(authority.find(':'), authority.size());
    url.host = Lowered(authority.substr(0, colon));
    port = authority.substr(colon);
    if (!IsHostName(url.host)) return Wrong("the host is not a name or an address");
  }
  if (port.empty()) {
    url.port = url.tls ? "443" : "80";
  } else if (port.front() != ':' || !IsPort(port.substr(1))) {
    return Wrong("the port must be a number from 1 to 65535");
  } else {
    url.port = std::string(port.substr(1));
  }
  while (!path.empty() && path.back() == '/') path.remove_suffix(1);
  if (!IsPath(path)) return Wrong("the path has characters that must be escaped");
  url.path = std::string(path);
  return url;
}

}  // namespace dwell::delivery
