#include "mapping/fhir/ids.h"

#include <openssl/evp.h>

#include <cstring>
#include <memory>

#include "mapping/fhir/bundle.h"
#include "schemas/base/check.h"

namespace dwell::fhir {
namespace {

struct FreeContext {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};

/// Fetched once: looking an algorithm up by name costs more than hashing with it.
const EVP_MD* Sha1() {
  static const EVP_MD* const kSha1 = EVP_MD_fetch(nullptr, "SHA1", nullptr);
  CHECK(kSha1 != nullptr);
  return kSha1;
}

/// The UUID of a site's namespace, within the URL namespace. Remembered: it hardly ever changes.
const UuidBytes& SiteNamespace(std::string_view uri) {
  struct Last {
    std::string uri;
    UuidBytes uuid{};
    bool known = false;
  };
  thread_local Last last;
  if (!last.known || last.uri != uri) {
    last.uuid = Uuid5(kUrlNamespace, uri);
    last.uri = uri;
    last.known = true;
  }
  return last.uuid;
}

/// Each part behind its length, so that no two lists of parts give the same name.
std::string Join(std::initializer_list<std::string_view> parts) {
  std::string name;
  name.reserve(96);
  for (const std::string_view part : parts) {
    name += std::to_string(part.size());
    name += ':';
    name += part;
  }
  return name;
}

std::uint64_t Scramble(std::uint64_t word) {  // finaliser of MurmurHash3 (public domain)
  word ^= word >> 33U;
  word *= 0xff51afd7ed558ccdU;
  word ^= word >> 33U;
  word *= 0xc4ceb9fe1a85ec53U;
  return word ^ (word >> 33U);
}

}  // namespace

UuidBytes Uuid5(const UuidBytes& name_space, std::string_view name) {
  thread_local const std::unique_ptr<EVP_MD_CTX, FreeContext> context(EVP_MD_CTX_new());
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  CHECK(context != nullptr && EVP_DigestInit_ex2(context.get(), Sha1(), nullptr) == 1 &&
        EVP_DigestUpdate(context.get(), name_space.data(), name_space.size()) == 1 &&
        EVP_DigestUpdate(context.get(), name.data(), name.size()) == 1 &&
        EVP_DigestFinal_ex(context.get(), digest.data(), nullptr) == 1);
  UuidBytes uuid;
  std::memcpy(uuid.data(), digest.data(), uuid.size());
  uuid[6] = static_cast<unsigned char>((uuid[6] & 0x0fU) | 0x50U);  // version 5
  uuid[8] = static_cast<unsigned char>((uuid[8] & 0x3fU) | 0x80U);  // variant of RFC 4122
  return uuid;
}

std::string FormatUuid(const UuidBytes& uuid) {
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string text(36, '-');
  char* to = text.data();
  for (std::size_t i = 0; i < uuid.size(); ++i) {
    if (i == 4 || i == 6 || i == 8 || i == 10) ++to;
    *to++ = kDigits[uuid[i] >> 4U];
    *to++ = kDigits[uuid[i] & 0x0fU];
  }
  return text;
}

std::string NameBasedUuid(std::string_view site_namespace,
                          std::initializer_list<std::string_view> parts) {
  return FormatUuid(Uuid5(SiteNamespace(site_namespace), Join(parts)));
}

std::string ResourceId(std::string_view site_namespace,
                       std::initializer_list<std::string_view> parts) {
  return "dwell-" + NameBasedUuid(site_namespace, parts);
}

Fingerprint& Fingerprint::Add(std::string_view text) {
  Add(static_cast<std::uint64_t>(text.size()));
  for (; !text.empty(); text.remove_prefix(text.size() < 8 ? text.size() : 8)) {
    std::uint64_t word = 0;
    std::memcpy(&word, text.data(), text.size() < 8 ? text.size() : 8);
    Add(word);
  }
  return *this;
}

Fingerprint& Fingerprint::Add(std::uint64_t number) {
  state_ = Scramble(state_ ^ number) + 0x9e3779b97f4a7c15U;
  return *this;
}

}  // namespace dwell::fhir
