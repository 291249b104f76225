// Delivery with tokens of SMART Backend Services against the practice endpoint, which checks every
// statement with the public key alone. Whatever a test does, the log must tell no secret.
#pragma once

#include "tests/daemon/delivery/delivery_fixture.h"
#include "tests/endpoint/keys.h"

namespace dwell::delivery {

using practice::KeyKind;
using practice::TokenCounts;
using practice::TokenManners;

class SmartTest : public DeliveryTest {
 protected:
  SmartTest() {
    target_.tokens.client_id = "dwelld-north-harbour";
    target_.tokens.key_file = folder_ / "signing.key";
    target_.tokens.key_id = "2026-1";
    target_.tokens.scope = "system/*.cruds";
    UseKey(KeyKind::kP384);
    testing::internal::CaptureStderr();
  }
  ~SmartTest() override {
    delivery_.reset();
    const std::string log = testing::internal::GetCapturedStderr();
    std::fputs(log.c_str(), stderr);
    ExpectNoSecretIn(log);
  }

  /// A new key pair: the private half for us, the public half for the endpoint.
  void UseKey(KeyKind kind) { Register(practice::WriteNewKey(kind, target_.tokens.key_file)); }
  void Register(const std::string& public_key) {
    const std::string base = endpoint_->url();
    target_.tokens.token_url = base.substr(0, base.rfind("/fhir")) + "/token";
    Tokens().Register(target_.tokens.token_url,
                      {target_.tokens.client_id, {{target_.tokens.key_id, public_key}}});
  }
  /// Both sides go by the clock of the test.
  void TurnTimeByHand() {
    by_hand_ = true;
    Tokens().SetClock([this] { return clock_.Now().time_since_epoch() / seconds(1); });
  }
  /// The next bundle of lane 0.
  void QueueNext() {
    OnStore([&](store::Store& store) { Add(store, 0, {BundleText(0, next_++)}); });
    delivery_->Wake();
  }

  practice::TokenDesk& Tokens() { return endpoint_->desk().tokens(); }
  TokenCounts Given() { return Tokens().counts(); }

  void ExpectNoSecretIn(const std::string& text) {
    EXPECT_THAT(text, testing::Not(testing::HasSubstr("practice-secret")));
    for (const std::string& body : Given().bodies) {
      const std::size_t at = body.find("client_assertion=");
      if (at == std::string::npos) continue;
      EXPECT_THAT(text, testing::Not(testing::HasSubstr(body.substr(at + 17, 40))));
    }
  }
  /// Everything came once, in order, and no bundle was charged for it.
  void ExpectNothingLostOrDoubled(std::uint64_t bundles) {
    EXPECT_EQ(Seen().transactions, bundles);
    EXPECT_EQ(Seen().repeats, 0U);
    EXPECT_EQ(Seen().overlaps, 0U);
    EXPECT_EQ(Stored().on_hold, 0U);
    ExpectInOrder();
  }
  void ExpectUntouched() {
    Until([&] { return Stored().in_progress == 0; });
    for (const auto& row : Waiting()) {
      EXPECT_EQ(row.attempts, 0U);
      EXPECT_FALSE(row.uncertain);
      EXPECT_EQ(row.state, DeliveryState::kReady);
      ExpectNoSecretIn(row.why);
    }
    ExpectNoSecretIn(delivery_->progress().last_failure);
  }

  int next_ = 0;
};

}  // namespace dwell::delivery
