#include "daemon/net/signing_key.h"

#include <openssl/bn.h>
#include <openssl/ecdsa.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <sys/stat.h>

#include <array>
#include <cstdio>

#include "schemas/base/check.h"

namespace dwell::net {
namespace {

using KeyHandle = std::unique_ptr<EVP_PKEY, decltype(&EVP_PKEY_free)>;
using File = std::unique_ptr<std::FILE, decltype(&std::fclose)>;

constexpr int kRsaBitsMin = 2048;    // RFC 7518 section 3.3
constexpr std::size_t kNumber = 48;  // bytes of r and of s on P-384, RFC 7518 section 3.4

/// Asked for a passphrase nobody can type in a service: there is none.
int NoPassphrase(char* /*buffer*/, int /*size*/, int /*is_writing*/, void* /*context*/) {
  return -1;
}

bool IsP384(const EVP_PKEY* key) {
  std::array<char, 64> group{};
  std::size_t size = 0;
  if (EVP_PKEY_get_group_name(key, group.data(), group.size(), &size) != 1) return false;
  return std::string_view(group.data(), size) == "secp384r1";  // SEC 2's name of P-384
}

const unsigned char* Bytes(std::string_view text) {
  return static_cast<const unsigned char*>(static_cast<const void*>(text.data()));
}
unsigned char* Bytes(std::string& text) {
  return static_cast<unsigned char*>(static_cast<void*>(text.data()));
}

/// OpenSSL gives r and s in DER.
std::string RawFromDer(const std::string& der) {
  const unsigned char* at = Bytes(std::string_view(der));
  const std::unique_ptr<ECDSA_SIG, decltype(&ECDSA_SIG_free)> pair(
      d2i_ECDSA_SIG(nullptr, &at, static_cast<long>(der.size())), &ECDSA_SIG_free);
  CHECK(pair != nullptr);
  std::string raw(2 * kNumber, '\0');
  constexpr int kWidth = static_cast<int>(kNumber);
  CHECK(BN_bn2binpad(ECDSA_SIG_get0_r(pair.get()), Bytes(raw), kWidth) == kWidth);
  CHECK(BN_bn2binpad(ECDSA_SIG_get0_s(pair.get()), Bytes(raw) + kNumber, kWidth) == kWidth);
  return raw;
}

}  // namespace

struct SigningKey::Impl {
  KeyHandle key{nullptr, &EVP_PKEY_free};
  bool is_rsa = false;
};

Result<SigningKey> SigningKey::Read(const std::string& path) {
  const auto wrong = [&path](const char* what) {
    return Error(ErrorKind::kConfig, "key file \"" + path + "\" " + what);
  };
  const File file(std::fopen(path.c_str(), "re"), &std::fclose);
  struct stat facts {};
  if (file == nullptr || ::fstat(::fileno(file.get()), &facts) != 0 || !S_ISREG(facts.st_mode)) {
    return wrong("cannot be read");
  }
  if ((facts.st_mode & (S_IROTH | S_IWOTH)) != 0) {
    return wrong("is open to every user of this machine; take that away (chmod o-rw)");
  }
  auto impl = std::make_shared<Impl>();
  impl->key.reset(PEM_read_PrivateKey(file.get(), nullptr, &NoPassphrase, nullptr));
  EVP_PKEY* const key = impl->key.get();
  if (key == nullptr) return wrong("holds no private key in PEM, or one with a passphrase");
  impl->is_rsa = EVP_PKEY_is_a(key, "RSA") == 1;
  if (impl->is_rsa && EVP_PKEY_get_bits(key) < kRsaBitsMin) {
    return wrong("holds an RSA key of less than 2048 bits");
  }
  if (!impl->is_rsa && !(EVP_PKEY_is_a(key, "EC") == 1 && IsP384(key))) {
    return wrong("holds neither an RSA key nor one on the curve P-384");
  }
  return SigningKey(std::move(impl));
}

std::string_view SigningKey::algorithm() const { return impl_->is_rsa ? "RS384" : "ES384"; }

std::string SigningKey::Sign(std::string_view text) const {
  const std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context(EVP_MD_CTX_new(),
                                                                        &EVP_MD_CTX_free);
  CHECK(EVP_DigestSignInit(context.get(), nullptr, EVP_sha384(), nullptr, impl_->key.get()) == 1);
  std::size_t size = 0;
  CHECK(EVP_DigestSign(context.get(), nullptr, &size, Bytes(text), text.size()) == 1);
  std::string signature(size, '\0');
  CHECK(EVP_DigestSign(context.get(), Bytes(signature), &size, Bytes(text), text.size()) == 1);
  signature.resize(size);
  return impl_->is_rsa ? signature : RawFromDer(signature);
}

}  // namespace dwell::net
