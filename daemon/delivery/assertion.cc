#include "daemon/delivery/assertion.h"

#include <cstdint>

#include "schemas/json/writer.h"

namespace dwell::delivery {
namespace {

/// What needs no escape in a query or form (RFC 3986 section 2.3).
constexpr std::string_view kUnreserved =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~";

std::string PercentEncoded(std::string_view text) {
  constexpr std::string_view kDigits = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    if (kUnreserved.find(c) != std::string_view::npos) {
      out += c;
      continue;
    }
    const auto byte = static_cast<unsigned char>(c);
    out.append(1, '%').append(1, kDigits[byte >> 4U]).append(1, kDigits[byte & 15U]);
  }
  return out;
}

std::string Header(std::string_view algorithm, std::string_view key_id) {
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("alg", algorithm);
  out.Member("kid", key_id);
  out.Member("typ", "JWT");
  out.EndObject();
  return out.Take();
}

std::string Payload(const Claims& claims) {
  const auto expires =
      std::chrono::floor<std::chrono::seconds>(claims.expires.time_since_epoch()).count();
  schemas::JsonWriter out;
  out.BeginObject();
  out.Member("iss", claims.client_id);
  out.Member("sub", claims.client_id);
  out.Member("aud", claims.token_url);
  out.MemberInteger("exp", expires);
  out.Member("jti", claims.jti);
  out.EndObject();
  return out.Take();
}

}  // namespace

std::string Base64Url(std::string_view bytes) {
  constexpr std::string_view kAlphabet =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
  std::string out;
  std::uint32_t bits = 0;
  unsigned held = 0;  // bits not yet written
  for (const char c : bytes) {
    bits = (bits << 8U) | static_cast<unsigned char>(c);
    for (held += 8; held >= 6; held -= 6) out += kAlphabet[(bits >> (held - 6)) & 63U];
  }
  if (held > 0) out += kAlphabet[(bits << (6 - held)) & 63U];
  return out;
}

std::string Assertion(const net::SigningKey& key, std::string_view key_id, const Claims& claims) {
  std::string text = Base64Url(Header(key.algorithm(), key_id));
  text.append(".").append(Base64Url(Payload(claims)));
  const std::string signature = key.Sign(text);
  return text.append(".").append(Base64Url(signature));
}

std::string TokenForm(std::string_view scope, std::string_view assertion) {
  std::string form = "grant_type=client_credentials&scope=" + PercentEncoded(scope);
  form.append("&client_assertion_type=");
  form.append(PercentEncoded("urn:ietf:params:oauth:client-assertion-type:jwt-bearer"));
  return form.append("&client_assertion=").append(PercentEncoded(assertion));
}

}  // namespace dwell::delivery
