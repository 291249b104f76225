// Throw-away certificates for tests, made on the spot (X.509, RFC 5280).
#pragma once

#include <memory>
#include <string>

namespace practice {

/// A certificate authority whose files live in a folder.
class Authority {
 public:
  /// Writes `folder`/`name`.pem.
  Authority(std::string folder, std::string name);
  ~Authority();
  Authority(const Authority&) = delete;
  Authority& operator=(const Authority&) = delete;

  struct Files {
    std::string certificate, key;  ///< paths
  };
  /// A certificate for a host name, valid between the two ages in days from now.
  Files Issue(const std::string& host, int from_days, int until_days);

  std::string file() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace practice
