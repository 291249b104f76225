// The signed statement: byte for byte the published ones where signing is deterministic, and
// checked by other code with nothing but the public key.
#include "daemon/delivery/assertion.h"

#include <gmock/gmock.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "tests/daemon/delivery/published_statements.h"
#include "tests/endpoint/interactions.h"
#include "tests/endpoint/keys.h"
#include "tests/endpoint/statement.h"

namespace dwell::delivery {
namespace {

using practice::KeyKind;
using testing::HasSubstr;

class AssertionTest : public testing::Test {
 protected:
  AssertionTest()
      : folder_(std::filesystem::temp_directory_path() /
                ("assertion-" + std::to_string(::getpid()) + "-" +
                 testing::UnitTest::GetInstance()->current_test_info()->name())) {
    std::filesystem::create_directories(folder_);
  }
  ~AssertionTest() override { std::filesystem::remove_all(folder_); }

  std::string KeyFile(const std::string& text) {
    const std::string path = folder_ / "key.pem";
    std::ofstream(path) << text;
    EXPECT_EQ(::chmod(path.c_str(), 0600), 0);
    return path;
  }
  static std::string PublishedStatement(const net::SigningKey& key, const char* key_id) {
    Claims claims;
    claims.client_id = published::kClientId;
    claims.token_url = published::kTokenUrl;
    claims.expires = Instant(std::chrono::seconds(published::kExpires));
    claims.jti = published::kJti;
    return Assertion(key, key_id, claims);
  }
  static std::string Fault(const std::string& statement, const practice::Registered& client) {
    std::set<std::string> used;
    return practice::CheckStatement(statement, client, published::kTokenUrl,
                                    published::kExpires - 240, used);
  }

  std::filesystem::path folder_;
};

TEST(Base64Url, IsAsInTheStandards) {
  // RFC 4648 section 10, without the padding.
  const std::vector<std::pair<std::string, std::string>> rows = {
      {"", ""},
      {"f", "Zg"},
      {"fo", "Zm8"},
      {"foo", "Zm9v"},
      {"foob", "Zm9vYg"},
      {"fooba", "Zm9vYmE"},
      {"foobar", "Zm9vYmFy"},
      {"\x03\xEC\xFF\xE0\xC1", "A-z_4ME"},  // RFC 7515 appendix C
      // RFC 7515 appendix A.1.1: the header of its first example.
      {"{\"typ\":\"JWT\",\r\n \"alg\":\"HS256\"}", "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9"}};
  for (const auto& [bytes, text] : rows) {
    EXPECT_EQ(Base64Url(bytes), text);
    EXPECT_EQ(practice::FromBase64Url(text), bytes);
  }
}

TEST_F(AssertionTest, WithAnRsaKeyIsThePublishedOneByteForByte) {
  const auto key = net::SigningKey::Read(KeyFile(published::kRsaKey));
  ASSERT_TRUE(key) << key.error().message();
  EXPECT_EQ(PublishedStatement(*key, published::kRsaKeyId), published::kRsaStatement);
}

TEST_F(AssertionTest, WithAP384KeySaysThePublishedThingAndItsSignatureHolds) {
  const auto key = net::SigningKey::Read(KeyFile(published::kEcKey));
  ASSERT_TRUE(key) << key.error().message();
  const std::string example = published::kEcStatement;
  const practice::Registered client{published::kClientId,
                                    {{published::kEcKeyId, published::kEcPublicKey}}};
  EXPECT_EQ(Fault(example, client), "") << "the judge itself accepts the published statement";
  // r or s begins with a zero byte once in 128 signatures; also then there are 96.
  for (int i = 0; i < 600; ++i) {
    const std::string own = PublishedStatement(*key, published::kEcKeyId);
    const std::size_t signature = example.rfind('.');
    ASSERT_EQ(own.substr(0, signature), example.substr(0, signature));
    ASSERT_EQ(own.size(), example.size()) << "96 bytes";
    ASSERT_EQ(Fault(own, client), "");
  }
}

TEST_F(AssertionTest, TheJudgeRefusesWhatItShould) {
  const auto key = net::SigningKey::Read(KeyFile(published::kRsaKey));
  ASSERT_TRUE(key);
  const practice::Registered client{published::kClientId,
                                    {{published::kRsaKeyId, published::kRsaPublicKey}}};
  const std::string good = published::kRsaStatement;
  EXPECT_EQ(Fault(good, client), "");
  EXPECT_EQ(Fault(good, {"other", client.keys}), "iss");
  EXPECT_EQ(Fault(good, {published::kClientId, {{"x", published::kRsaPublicKey}}}), "kid");
  EXPECT_EQ(Fault(good, {published::kClientId, {{published::kRsaKeyId, published::kEcPublicKey}}}),
            "signature");
  std::string changed = good;
  changed[good.size() / 3] = changed[good.size() / 3] == 'A' ? 'B' : 'A';
  EXPECT_THAT(Fault(changed, client), testing::AnyOf("signature", "form"));
  std::set<std::string> used;
  const auto at = [&](int now_s) {
    return practice::CheckStatement(good, client, published::kTokenUrl, now_s, used);
  };
  EXPECT_EQ(at(published::kExpires), "exp");
  EXPECT_EQ(at(published::kExpires - 301), "exp");
  EXPECT_EQ(at(published::kExpires - 300), "");
  EXPECT_EQ(at(published::kExpires - 1), "jti-reuse");
  EXPECT_EQ(practice::CheckStatement(good, client, "https://elsewhere", 0, used), "aud");
}

TEST_F(AssertionTest, TheFormSaysWhatTheStandardAsks) {
  const std::string form = TokenForm("system/Observation.cu system/*.rs?a=b", "x.y.z");
  EXPECT_EQ(practice::QueryValue(form, "grant_type"), "client_credentials");
  EXPECT_EQ(practice::QueryValue(form, "scope"), "system/Observation.cu system/*.rs?a=b");
  EXPECT_EQ(practice::QueryValue(form, "client_assertion"), "x.y.z");
  // As in SMART's example-backend-services: the colons are escaped.
  EXPECT_THAT(form, HasSubstr("&client_assertion_type=urn%3Aietf%3Aparams%3Aoauth%3Aclient-"
                              "assertion-type%3Ajwt-bearer&"));
  EXPECT_THAT(form, testing::Not(HasSubstr(" ")));
}

TEST_F(AssertionTest, KeysOfBothKindsServeAndAllOthersAreRefusedWithTheReason) {
  const std::string path = folder_ / "own.pem";
  for (const auto& [kind, algorithm] :
       {std::pair(KeyKind::kRsa2048, "RS384"), std::pair(KeyKind::kP384, "ES384")}) {
    const std::string public_key = practice::WriteNewKey(kind, path);
    const auto key = net::SigningKey::Read(path);
    ASSERT_TRUE(key) << key.error().message();
    EXPECT_EQ(key->algorithm(), algorithm);
    EXPECT_TRUE(practice::Verifies(public_key, algorithm, "text", key->Sign("text")));
    EXPECT_FALSE(practice::Verifies(public_key, algorithm, "next", key->Sign("text")));
  }
  const auto expect_refused = [&](const char* why) {
    const auto key = net::SigningKey::Read(path);
    ASSERT_FALSE(key);
    EXPECT_EQ(key.error().kind(), ErrorKind::kConfig);
    EXPECT_THAT(key.error().message(), HasSubstr(why));
    EXPECT_THAT(key.error().message(), HasSubstr(path));
  };
  ASSERT_EQ(::chmod(path.c_str(), 0604), 0);
  expect_refused("every user");
  ASSERT_EQ(::chmod(path.c_str(), 0602), 0);
  expect_refused("every user");
  practice::WriteNewKey(KeyKind::kRsa1024, path);
  expect_refused("2048");
  practice::WriteNewKey(KeyKind::kP256, path);
  expect_refused("P-384");
  std::ofstream(path) << published::kEcPublicKey;
  expect_refused("no private key");
  std::ofstream(path) << "";
  expect_refused("no private key");
  std::filesystem::remove(path);
  expect_refused("cannot be read");
  std::filesystem::create_directory(path);
  expect_refused("cannot be read");
}

}  // namespace
}  // namespace dwell::delivery
