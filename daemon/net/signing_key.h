// A private key from a PEM file that signs texts as JSON Web Signatures want it (RFC 7518 section
// 3): RS384 with an RSA key, ES384 with a key on the curve P-384.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "schemas/base/result.h"

namespace dwell::net {

/// Copies share.
class SigningKey {
 public:
  /// Errors: kConfig, naming the file and what is wrong with it: not readable, readable by
  /// everybody, no private key, one with a passphrase, an RSA key under 2048 bits (RFC 7518 section
  /// 3.3), another curve. Never a byte of the key.
  static Result<SigningKey> Read(const std::string& path);

  /// "RS384" or "ES384": the header parameter "alg".
  std::string_view algorithm() const;
  /// The signature's bytes: for RS384 as long as the modulus; for ES384 always 96, r then s
  /// (RFC 7518 section 3.4).
  std::string Sign(std::string_view text) const;

 private:
  struct Impl;
  explicit SigningKey(std::shared_ptr<const Impl> impl) : impl_(std::move(impl)) {}
  std::shared_ptr<const Impl> impl_;
};

}  // namespace dwell::net
