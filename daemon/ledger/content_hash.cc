#include "daemon/ledger/content_hash.h"

#include <openssl/evp.h>

#include <memory>

#include "schemas/base/check.h"

namespace dwell::ledger {
namespace {

struct FreeAlgorithm {
  void operator()(EVP_MD* algorithm) const { EVP_MD_free(algorithm); }
};
struct FreeContext {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};

std::string_view WithoutOuterSpace(std::string_view text) {
  constexpr std::string_view kSpace = " \t\r\n";
  const std::size_t first = text.find_first_not_of(kSpace);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(kSpace) - first + 1);
}

}  // namespace

store::Sha256 ContentHash(std::string_view event) {
  const std::string_view bytes = WithoutOuterSpace(event);
  // Looked up once: a look-up costs more than hashing a short event.
  static const std::unique_ptr<EVP_MD, FreeAlgorithm> algorithm(
      EVP_MD_fetch(nullptr, "SHA256", nullptr));
  thread_local const std::unique_ptr<EVP_MD_CTX, FreeContext> context(EVP_MD_CTX_new());
  CHECK(algorithm != nullptr && context != nullptr);
  store::Sha256 hash{};
  unsigned int size = 0;
  CHECK(EVP_DigestInit_ex2(context.get(), algorithm.get(), nullptr) == 1 &&
        EVP_DigestUpdate(context.get(), bytes.data(), bytes.size()) == 1 &&
        EVP_DigestFinal_ex(context.get(), hash.data(), &size) == 1);
  CHECK(size == hash.size());
  return hash;
}

}  // namespace dwell::ledger
