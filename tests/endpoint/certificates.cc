#include "tests/endpoint/certificates.h"

#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/x509v3.h>

#include <cstdio>

#include "schemas/base/check.h"

namespace practice {
namespace {

using Key = std::unique_ptr<EVP_PKEY, decltype(&EVP_PKEY_free)>;
using Certificate = std::unique_ptr<X509, decltype(&X509_free)>;
using File = std::unique_ptr<std::FILE, decltype(&std::fclose)>;

constexpr long kDaySeconds = 86'400;

Key MakeKey() {
  Key key(EVP_PKEY_Q_keygen(nullptr, nullptr, "EC", "P-256"), &EVP_PKEY_free);
  CHECK(key != nullptr);
  return key;
}

void SetName(X509_NAME* name, const std::string& common_name) {
  std::string text = common_name;
  const auto* const bytes = static_cast<const unsigned char*>(static_cast<void*>(text.data()));
  CHECK(X509_NAME_add_entry_by_txt(name, "CN", MBSTRING_UTF8, bytes, -1, -1, 0) == 1);
}

void Extend(X509* certificate, int kind, const std::string& value) {
  const std::unique_ptr<X509_EXTENSION, decltype(&X509_EXTENSION_free)> extension(
      X509V3_EXT_conf_nid(nullptr, nullptr, kind, value.c_str()), &X509_EXTENSION_free);
  CHECK(extension != nullptr && X509_add_ext(certificate, extension.get(), -1) == 1);
}

Certificate MakeCertificate(EVP_PKEY* key, const std::string& name, int from_days, int until_days) {
  static long serial = 1;
  Certificate certificate(X509_new(), &X509_free);
  X509_set_version(certificate.get(), X509_VERSION_3);
  ASN1_INTEGER_set(X509_get_serialNumber(certificate.get()), ++serial);
  X509_gmtime_adj(X509_getm_notBefore(certificate.get()), from_days * kDaySeconds);
  X509_gmtime_adj(X509_getm_notAfter(certificate.get()), until_days * kDaySeconds);
  X509_set_pubkey(certificate.get(), key);
  SetName(X509_get_subject_name(certificate.get()), name);
  return certificate;
}

void WriteCertificate(const std::string& path, X509* certificate) {
  const File file(std::fopen(path.c_str(), "w"), &std::fclose);
  CHECK(file != nullptr && PEM_write_X509(file.get(), certificate) == 1);
}

void WriteKey(const std::string& path, EVP_PKEY* key) {
  const File file(std::fopen(path.c_str(), "w"), &std::fclose);
  CHECK(file != nullptr);
  CHECK(PEM_write_PrivateKey(file.get(), key, nullptr, nullptr, 0, nullptr, nullptr) == 1);
}

}  // namespace

struct Authority::Impl {
  std::string folder, name;
  Key key = MakeKey();
  Certificate certificate = MakeCertificate(key.get(), name, -400, 400);
  int issued = 0;
};

Authority::Authority(std::string folder, std::string name)
    : impl_(new Impl{std::move(folder), std::move(name)}) {
  X509* const own = impl_->certificate.get();
  X509_set_issuer_name(own, X509_get_subject_name(own));
  Extend(own, NID_basic_constraints, "critical,CA:TRUE");
  Extend(own, NID_key_usage, "critical,keyCertSign,cRLSign");
  CHECK(X509_sign(own, impl_->key.get(), EVP_sha256()) > 0);
  WriteCertificate(file(), own);
}

Authority::~Authority() = default;

std::string Authority::file() const { return impl_->folder + "/" + impl_->name + ".pem"; }

Authority::Files Authority::Issue(const std::string& host, int from_days, int until_days) {
  const Key key = MakeKey();
  const Certificate certificate = MakeCertificate(key.get(), host, from_days, until_days);
  X509_set_issuer_name(certificate.get(), X509_get_subject_name(impl_->certificate.get()));
  Extend(certificate.get(), NID_subject_alt_name, "DNS:" + host);
  CHECK(X509_sign(certificate.get(), impl_->key.get(), EVP_sha256()) > 0);
  const std::string stem =
      impl_->folder + "/" + impl_->name + "-" + std::to_string(++impl_->issued);
  Files files{stem + ".crt", stem + ".key"};
  WriteCertificate(files.certificate, certificate.get());
  WriteKey(files.key, key.get());
  return files;
}

}  // namespace practice
