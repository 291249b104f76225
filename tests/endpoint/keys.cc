#include "tests/endpoint/keys.h"

#include <openssl/evp.h>
#include <openssl/pem.h>
#include <sys/stat.h>

#include <cstdio>
#include <memory>

#include "schemas/base/check.h"

namespace practice {
namespace {

using Key = std::unique_ptr<EVP_PKEY, decltype(&EVP_PKEY_free)>;
using File = std::unique_ptr<std::FILE, decltype(&std::fclose)>;

EVP_PKEY* Make(KeyKind kind) {
  switch (kind) {
    case KeyKind::kRsa2048:
      return EVP_PKEY_Q_keygen(nullptr, nullptr, "RSA", std::size_t{2048});
    case KeyKind::kRsa1024:
      return EVP_PKEY_Q_keygen(nullptr, nullptr, "RSA", std::size_t{1024});
    case KeyKind::kP384:
      return EVP_PKEY_Q_keygen(nullptr, nullptr, "EC", "P-384");
    case KeyKind::kP256:
      return EVP_PKEY_Q_keygen(nullptr, nullptr, "EC", "P-256");
  }
  return nullptr;
}

}  // namespace

std::string WriteNewKey(KeyKind kind, const std::string& path) {
  const Key key(Make(kind), &EVP_PKEY_free);
  CHECK(key != nullptr);
  const std::string fresh = path + ".new";
  {
    const File file(std::fopen(fresh.c_str(), "w"), &std::fclose);
    CHECK(file != nullptr && ::chmod(fresh.c_str(), 0600) == 0);
    CHECK(PEM_write_PrivateKey(file.get(), key.get(), nullptr, nullptr, 0, nullptr, nullptr) == 1);
  }
  CHECK(std::rename(fresh.c_str(), path.c_str()) == 0);  // a reader never sees half a key
  const std::unique_ptr<BIO, decltype(&BIO_free)> pem(BIO_new(BIO_s_mem()), &BIO_free);
  CHECK(PEM_write_bio_PUBKEY(pem.get(), key.get()) == 1);
  char* text = nullptr;
  const long size = BIO_get_mem_data(pem.get(), &text);
  return {text, static_cast<std::size_t>(size)};
}

}  // namespace practice
