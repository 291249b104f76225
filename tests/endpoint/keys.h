// Throw-away key pairs for tests, as PEM: the private half in a file, the public half as text.
#pragma once

#include <string>

namespace practice {

enum class KeyKind { kRsa2048, kRsa1024, kP384, kP256 };

/// Writes the private key to `path`, for its owner only, and returns the public key.
std::string WriteNewKey(KeyKind kind, const std::string& path);

}  // namespace practice
