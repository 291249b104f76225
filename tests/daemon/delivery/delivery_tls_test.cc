// Delivery over TLS: fails closed, with the reason named (RFC 5280, RFC 9525).
#include "tests/daemon/delivery/delivery_fixture.h"
#include "tests/endpoint/certificates.h"

namespace dwell::delivery {
namespace {

class TlsDeliveryTest : public DeliveryTest {
 protected:
  void UseCertificate(const char* host, int from_days, int until_days) {
    const auto files = authority_.Issue(host, from_days, until_days);
    practice::EndpointOptions options;
    options.tls = net::TlsFiles{
        .certificate_chain = files.certificate, .private_key = files.key, .authorities = {}};
    StartEndpoint(options);
    target_.tls.authorities = authority_.file();
  }
  void ExpectRefused(const char* why) {
    StartDelivery();
    Queue(2, 1);
    Until([&] { return delivery_->progress().again >= 2; });
    EXPECT_THAT(delivery_->progress().last_failure, testing::HasSubstr(why));
    EXPECT_EQ(Seen().requests, 0U) << "not a byte of it went out";
    for (const auto& row : Waiting()) EXPECT_EQ(row.attempts, 0U);
  }
  practice::Authority authority_{folder_, "authority"};
};

TEST_F(TlsDeliveryTest, ACertificateOfTheHostFromATrustedAuthorityServes) {
  UseCertificate("localhost", -1, 10);
  StartDelivery();
  Queue(4, 5);
  UntilCompleted(20);
  ExpectInOrder();
}

TEST_F(TlsDeliveryTest, AnotherNameIsRefused) {
  UseCertificate("other.example.org", -1, 10);
  ExpectRefused("hostname mismatch");
}

TEST_F(TlsDeliveryTest, AnExpiredCertificateIsRefused) {
  UseCertificate("localhost", -20, -1);
  ExpectRefused("expired");
}

TEST_F(TlsDeliveryTest, ACertificateOfTomorrowIsRefused) {
  UseCertificate("localhost", 1, 10);
  ExpectRefused("not yet valid");
}

TEST_F(TlsDeliveryTest, AnUnknownAuthorityIsRefused) {
  UseCertificate("localhost", -1, 10);
  const practice::Authority stranger(folder_, "stranger");
  target_.tls.authorities = stranger.file();
  ExpectRefused("issuer");
}

TEST_F(TlsDeliveryTest, AnAuthorityIsReplacedWithoutARestart) {
  UseCertificate("localhost", -1, 10);
  const practice::Authority stranger(folder_, "stranger");
  target_.tls.authorities = folder_ / "trusted.pem";
  std::filesystem::copy_file(stranger.file(), target_.tls.authorities);
  StartDelivery();
  Queue(2, 1);
  Until([&] { return delivery_->progress().again >= 2; });
  std::ofstream(target_.tls.authorities) << "half a fi";
  const auto before = delivery_->progress().again;
  Until([&] { return delivery_->progress().again >= before + 2; });
  EXPECT_THAT(delivery_->progress().last_failure, testing::HasSubstr("issuer")) << "the old one";
  EXPECT_EQ(Seen().requests, 0U);
  std::filesystem::copy_file(authority_.file(), target_.tls.authorities,
                             std::filesystem::copy_options::overwrite_existing);
  UntilCompleted(2);
  ExpectInOrder();
}

TEST_F(TlsDeliveryTest, AClientCertificateIsReplacedWithoutARestart) {
  const auto server = authority_.Issue("localhost", -1, 10);
  practice::EndpointOptions options;
  options.tls = net::TlsFiles{.certificate_chain = server.certificate,
                              .private_key = server.key,
                              .authorities = authority_.file()};  // it demands one of ours
  StartEndpoint(options);
  practice::Authority stranger(folder_, "stranger");
  const auto wrong = stranger.Issue("client", -1, 10);
  target_.tls = {wrong.certificate, wrong.key, authority_.file()};
  StartDelivery();
  Queue(3, 2);
  Until([&] { return delivery_->progress().again >= 2; });
  EXPECT_EQ(Seen().requests, 0U);
  const auto right = authority_.Issue("client", -1, 10);
  constexpr auto kOver = std::filesystem::copy_options::overwrite_existing;
  std::filesystem::copy_file(right.certificate, wrong.certificate, kOver);
  std::filesystem::copy_file(right.key, wrong.key, kOver);
  UntilCompleted(6);
  ExpectInOrder();
  EXPECT_EQ(Stored().on_hold, 0U);
}

TEST_F(TlsDeliveryTest, PlainHttpOnATlsPortIsRefused) {
  target_.tls.authorities = authority_.file();
  target_.url.replace(0, 4, "https");
  ExpectRefused("TLS");
}

}  // namespace
}  // namespace dwell::delivery
