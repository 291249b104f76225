// Checks a client's signed statement as a token endpoint must (RFC 7523 section 3, SMART App Launch
// 2.2.0 client-confidential-asymmetric), with its public key only.
#pragma once

#include <cstdint>
#include <map>
#include <set>
#include <string>
#include <string_view>

namespace practice {

/// What a token endpoint knows of its clients.
struct Registered {
  std::string client_id;
  std::map<std::string, std::string> keys;  ///< key id -> public key, PEM
};

/// Empty when the statement is good; otherwise the first thing wrong with it: "form", "header",
/// "kid", "alg", "signature", "iss", "sub", "aud", "exp", "jti" or "jti-reuse". A good statement's
/// jti goes into `used`. `now_s`: Unix time.
std::string CheckStatement(std::string_view statement, const Registered& client,
                           std::string_view token_url, std::int64_t now_s,
                           std::set<std::string>& used);

/// What base64url stands for; empty when it is none (RFC 7515 section 2).
std::string FromBase64Url(std::string_view text);

/// Whether `signature` (RS384: the modulus's length; ES384: 96 bytes, r then s) fits.
bool Verifies(const std::string& public_key_pem, std::string_view algorithm, std::string_view text,
              std::string_view signature);

}  // namespace practice
