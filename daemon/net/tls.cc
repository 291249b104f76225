#include "daemon/net/tls.h"

#include <openssl/ssl.h>

#include "daemon/net/tls_impl.h"

namespace dwell::net {
namespace {

using boost::asio::ssl::context;

Error Unusable(const std::string& what, const std::string& file,
               const boost::system::error_code& error) {
  return {ErrorKind::kTls, what + " \"" + file + "\" cannot be used: " + error.message()};
}

Result<void> LoadIdentity(context& tls, const TlsFiles& files) {
  boost::system::error_code error;
  if (files.certificate_chain.empty() != files.private_key.empty()) {
    return Error(ErrorKind::kTls, "a certificate needs its private key and the other way round");
  }
  if (files.certificate_chain.empty()) return {};
  tls.use_certificate_chain_file(files.certificate_chain, error);
  if (error) return Unusable("certificate file", files.certificate_chain, error);
  // Checks that the key belongs to the certificate, too.
  tls.use_private_key_file(files.private_key, context::pem, error);
  if (error) return Unusable("private key file", files.private_key, error);
  return {};
}

Result<void> LoadAuthorities(context& tls, const TlsFiles& files) {
  boost::system::error_code error;
  if (files.authorities.empty()) {
    tls.set_default_verify_paths(error);
    if (error) return Unusable("the system's list of", "authorities", error);
    return {};
  }
  tls.load_verify_file(files.authorities, error);
  if (error) return Unusable("authorities file", files.authorities, error);
  return {};
}

Result<void> Restrict(context& tls) {
  boost::system::error_code error;
  tls.set_options(context::default_workarounds | context::no_compression, error);
  if (error || SSL_CTX_set_min_proto_version(tls.native_handle(), TLS1_2_VERSION) != 1) {
    return Error(ErrorKind::kTls,
                 "this machine's TLS library cannot be limited to TLS 1.2 and newer");
  }
  SSL_CTX_set_options(tls.native_handle(), SSL_OP_NO_RENEGOTIATION);
  return {};
}

}  // namespace

Result<TlsContext> TlsContext::Server(const TlsFiles& files) {
  auto impl = std::make_shared<Impl>(context::tls_server);
  if (files.certificate_chain.empty()) {
    return Error(ErrorKind::kTls, "a TLS server needs a certificate file");
  }
  if (auto done = Restrict(impl->context); !done) return done.error();
  if (auto done = LoadIdentity(impl->context, files); !done) return done.error();
  if (!files.authorities.empty()) {
    if (auto done = LoadAuthorities(impl->context, files); !done) return done.error();
    impl->context.set_verify_mode(boost::asio::ssl::verify_peer |
                                  boost::asio::ssl::verify_fail_if_no_peer_cert);
    // A session that is resumed must have been verified by this very context.
    static constexpr unsigned char kName[] = "dwelld";
    SSL_CTX_set_session_id_context(impl->context.native_handle(), kName, sizeof(kName) - 1);
  }
  return TlsContext(std::move(impl));
}

Result<TlsContext> TlsContext::Client(const TlsFiles& files) {
  auto impl = std::make_shared<Impl>(context::tls_client);
  if (auto done = Restrict(impl->context); !done) return done.error();
  if (auto done = LoadIdentity(impl->context, files); !done) return done.error();
  if (auto done = LoadAuthorities(impl->context, files); !done) return done.error();
  impl->context.set_verify_mode(boost::asio::ssl::verify_peer);
  return TlsContext(std::move(impl));
}

}  // namespace dwell::net
