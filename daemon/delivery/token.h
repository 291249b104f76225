// A bearer token kept in a file that others renew (RFC 6750 section 2.1).
#pragma once

#include <sys/stat.h>

#include <string>
#include <string_view>

#include "schemas/base/result.h"

namespace dwell::delivery {

/// Whether a text can stand as a token in a header field: visible ASCII, not too long. More than
/// RFC 6750 allows (its b64token), for issuers that do not keep to it.
bool IsToken(std::string_view text);

class TokenFile {
 public:
  /// An empty path means: no token. Errors: kConfig when the file cannot be read or holds no token.
  static Result<TokenFile> Open(const std::string& path);

  /// Reads the file again when it changed; a file that is gone or broken leaves the old token.
  /// Returns whether there is a new one.
  bool Refresh();

  /// "Authorization: Bearer ...\r\n", or empty.
  const std::string& field() const { return field_; }

 private:
  Result<void> Read();

  std::string path_;
  std::string field_;
  timespec changed_{};
  ino_t file_ = 0;
};

}  // namespace dwell::delivery
