// The signed statement by which we prove to a token endpoint who we are, and the request around it
// (SMART App Launch 2.2.0, client-confidential-asymmetric and backend-services; RFC 7523). Pure.
#pragma once

#include <chrono>
#include <string>
#include <string_view>

#include "daemon/net/signing_key.h"
#include "mapping/event/moment.h"

namespace dwell::delivery {

/// What a statement says. SMART: iss and sub are the client id, aud the URL of the token endpoint,
/// exp at most five minutes ahead, jti never used before.
struct Claims {
  std::string_view client_id;
  std::string_view token_url;
  Instant expires{};  ///< told in whole seconds, the fraction dropped
  std::string_view jti;
};

/// "header.payload.signature" (RFC 7515 section 7.1): typ JWT, the key's alg, `key_id` as kid.
std::string Assertion(const net::SigningKey& key, std::string_view key_id, const Claims& claims);

/// The body of the token request, application/x-www-form-urlencoded (RFC 6749 section 4.4.2,
/// RFC 7523 section 2.2).
std::string TokenForm(std::string_view scope, std::string_view assertion);

/// Bytes in the alphabet that is safe in URLs, without padding (RFC 7515 section 2).
std::string Base64Url(std::string_view bytes);

}  // namespace dwell::delivery
