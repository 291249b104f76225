// What a TLS end is and trusts: read once from PEM files, shared by its connections.
#pragma once

#include <memory>
#include <string>

#include "schemas/base/result.h"

namespace dwell::net {

/// Files of a TLS end; empty means: not used.
struct TlsFiles {
  std::string certificate_chain;  ///< PEM, our own certificate and what it rests on
  std::string private_key;        ///< PEM
  /// PEM, whom we trust. Empty for a client: the system's. For a server: whom it demands client
  /// certificates from; empty: it demands none.
  std::string authorities;
};

/// TLS 1.2 or newer (RFC 9325 section 3.1.1), for one end. Copies share.
class TlsContext {
 public:
  /// Errors: kTls, naming the file and what is wrong with it.
  static Result<TlsContext> Server(const TlsFiles& files);
  static Result<TlsContext> Client(const TlsFiles& files);

  struct Impl;
  Impl& impl() const { return *impl_; }

 private:
  explicit TlsContext(std::shared_ptr<Impl> impl) : impl_(std::move(impl)) {}
  std::shared_ptr<Impl> impl_;
};

}  // namespace dwell::net
