#include "tests/endpoint/statement.h"

#include <openssl/ecdsa.h>
#include <openssl/evp.h>
#include <openssl/pem.h>

#include <algorithm>
#include <charconv>
#include <memory>
#include <optional>

#include "schemas/json/document.h"

namespace practice {
namespace {

using dwell::schemas::Document;
using dwell::schemas::Value;

const unsigned char* Bytes(std::string_view text) {
  return static_cast<const unsigned char*>(static_cast<const void*>(text.data()));
}

/// r and s as OpenSSL wants to see them.
std::string DerFromRaw(std::string_view raw) {
  const int half = static_cast<int>(raw.size() / 2);
  const std::unique_ptr<ECDSA_SIG, decltype(&ECDSA_SIG_free)> pair(ECDSA_SIG_new(),
                                                                   &ECDSA_SIG_free);
  ECDSA_SIG_set0(pair.get(), BN_bin2bn(Bytes(raw), half, nullptr),
                 BN_bin2bn(Bytes(raw) + half, half, nullptr));
  unsigned char* der = nullptr;
  const int size = i2d_ECDSA_SIG(pair.get(), &der);
  std::string text(der, der + std::max(size, 0));
  OPENSSL_free(der);
  return text;
}

std::string Text(Value object, std::string_view name) {
  const auto value = object.Find(name);
  return value && value->is_string() ? std::string(value->AsString()) : std::string();
}

std::optional<std::int64_t> Number(Value object, std::string_view name) {
  const auto value = object.Find(name);
  if (!value || !value->is_number()) return std::nullopt;
  std::int64_t number = 0;
  const std::string_view text = value->NumberText();
  const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
  if (read.ec != std::errc() || read.ptr != text.data() + text.size()) return std::nullopt;
  return number;
}

std::string CheckClaims(Value claims, const std::string& client_id, std::string_view token_url,
                        std::int64_t now_s, std::set<std::string>& used) {
  if (Text(claims, "iss") != client_id) return "iss";
  if (Text(claims, "sub") != client_id) return "sub";
  if (Text(claims, "aud") != token_url) return "aud";
  const auto exp = Number(claims, "exp");
  if (!exp || *exp <= now_s || *exp > now_s + 300) return "exp";
  const std::string jti = Text(claims, "jti");
  if (jti.empty()) return "jti";
  return used.insert(jti).second ? "" : "jti-reuse";
}

}  // namespace

std::string FromBase64Url(std::string_view text) {
  if (text.find_first_of("+/=") != std::string_view::npos || text.size() % 4 == 1) return {};
  std::string plain(text);
  std::replace(plain.begin(), plain.end(), '-', '+');
  std::replace(plain.begin(), plain.end(), '_', '/');
  const std::size_t padding = (4 - plain.size() % 4) % 4;
  plain.append(padding, '=');
  std::string bytes(plain.size() / 4 * 3, '\0');
  auto* const to = static_cast<unsigned char*>(static_cast<void*>(bytes.data()));
  if (EVP_DecodeBlock(to, Bytes(plain), static_cast<int>(plain.size())) < 0) return {};
  bytes.resize(bytes.size() - padding);
  return bytes;
}

bool Verifies(const std::string& public_key_pem, std::string_view algorithm, std::string_view text,
              std::string_view signature) {
  const std::unique_ptr<BIO, decltype(&BIO_free)> pem(
      BIO_new_mem_buf(public_key_pem.data(), static_cast<int>(public_key_pem.size())), &BIO_free);
  const std::unique_ptr<EVP_PKEY, decltype(&EVP_PKEY_free)> key(
      PEM_read_bio_PUBKEY(pem.get(), nullptr, nullptr, nullptr), &EVP_PKEY_free);
  if (key == nullptr) return false;
  const bool is_ec = EVP_PKEY_is_a(key.get(), "EC") == 1;
  if (algorithm != (is_ec ? "ES384" : "RS384")) return false;
  if (is_ec && signature.size() != 96) return false;
  const std::string der = is_ec ? DerFromRaw(signature) : std::string(signature);
  const std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context(EVP_MD_CTX_new(),
                                                                        &EVP_MD_CTX_free);
  return EVP_DigestVerifyInit(context.get(), nullptr, EVP_sha384(), nullptr, key.get()) == 1 &&
         EVP_DigestVerify(context.get(), Bytes(der), der.size(), Bytes(text), text.size()) == 1;
}

std::string CheckStatement(std::string_view statement, const Registered& client,
                           std::string_view token_url, std::int64_t now_s,
                           std::set<std::string>& used) {
  const std::size_t first = statement.find('.');
  const std::size_t last = statement.rfind('.');
  if (first == std::string_view::npos || first == last) return "form";
  const auto header = Document::Parse(FromBase64Url(statement.substr(0, first)));
  const auto claims = Document::Parse(FromBase64Url(statement.substr(first + 1, last - first - 1)));
  if (!header || !header->root().is_object() || !claims || !claims->root().is_object()) {
    return "form";
  }
  if (Text(header->root(), "typ") != "JWT") return "header";
  const auto key = client.keys.find(Text(header->root(), "kid"));
  if (key == client.keys.end()) return "kid";
  const std::string algorithm = Text(header->root(), "alg");
  if (algorithm != "RS384" && algorithm != "ES384") return "alg";
  const std::string signature = FromBase64Url(statement.substr(last + 1));
  if (!Verifies(key->second, algorithm, statement.substr(0, last), signature)) return "signature";
  return CheckClaims(claims->root(), client.client_id, token_url, now_s, used);
}

}  // namespace practice
