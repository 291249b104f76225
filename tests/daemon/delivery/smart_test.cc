// Delivery with tokens: one request for all, renewed in time; what ends or is replaced meanwhile
// loses nothing and doubles nothing.
#include "tests/daemon/delivery/smart_fixture.h"

namespace dwell::delivery {
namespace {

using testing::IsEmpty;

class SmartKeyTest : public SmartTest, public testing::WithParamInterface<KeyKind> {};

TEST_P(SmartKeyTest, SixteenLanesShareOneTokenRequest) {
  UseKey(GetParam());
  Manners slow;
  slow.latency_ms = 1;
  endpoint_->desk().SetManners(slow);
  Queue(16, 5);
  StartDelivery();
  UntilCompleted(80);
  ExpectNothingLostOrDoubled(80);
  EXPECT_GT(Seen().in_flight_max, 4U);
  EXPECT_EQ(Given().asked, 1U);
  EXPECT_EQ(Given().rejected, 0U) << "nobody went without";
  EXPECT_EQ(delivery_->progress().clock_ahead, std::nullopt);
}

INSTANTIATE_TEST_SUITE_P(Keys, SmartKeyTest, testing::Values(KeyKind::kRsa2048, KeyKind::kP384));

TEST_F(SmartTest, ATokenThatEndsInTheMiddleOfARunCostsNothing) {
  TurnTimeByHand();  // it stands still: whoever had to wait would wait for ever
  Manners slow;
  slow.latency_ms = 1;
  endpoint_->desk().SetManners(slow);
  Queue(16, 20);
  StartDelivery();
  for (const std::uint64_t done : {60U, 120U, 180U, 240U}) {
    Until([&] { return Seen().transactions >= done; });
    Tokens().EndAll();
  }
  UntilCompleted(320);
  ExpectNothingLostOrDoubled(320);
  EXPECT_EQ(Given().asked, 5U) << "one for each that ended";
  EXPECT_GT(Given().rejected, 0U);
  EXPECT_THAT(Given().faults, IsEmpty());
}

TEST_F(SmartTest, TokensAreRenewedBeforeTheyEndSoThatNobodyIsEverRejected) {
  TurnTimeByHand();
  StartDelivery();
  for (int round = 1; round <= 30; ++round) {  // of 30 s each; tokens live 300 s
    QueueNext();
    UntilCompleted(static_cast<std::uint64_t>(round));
    clock_.Turn(seconds(30));
  }
  ExpectNothingLostOrDoubled(30);
  EXPECT_EQ(Given().rejected, 0U);
  EXPECT_GE(Given().asked, 4U);
  EXPECT_LE(Given().asked, 5U);
}

TEST_F(SmartTest, ARenewalThatFailsLeavesTheTokenThatStillServes) {
  TurnTimeByHand();
  StartDelivery();
  QueueNext();
  UntilCompleted(1);
  Register(practice::WriteNewKey(KeyKind::kP384, folder_ / "other.key"));
  clock_.Turn(seconds(250));
  QueueNext();
  Until([&] { return Given().faults.size() == 1; });
  for (int i = 0; i < 3; ++i) QueueNext();
  UntilCompleted(5);
  ExpectNothingLostOrDoubled(5);
  EXPECT_EQ(Given().asked, 2U) << "and the issuer is left alone for a minute";
  EXPECT_EQ(Given().rejected, 0U);
}

TEST_F(SmartTest, AnUntoldLifeIsShort) {
  TurnTimeByHand();
  TokenManners silent;
  silent.tells_lifetime = false;
  Tokens().SetManners(silent);
  StartDelivery();
  QueueNext();
  UntilCompleted(1);
  clock_.Turn(seconds(59));
  QueueNext();
  UntilCompleted(2);
  EXPECT_EQ(Given().asked, 2U);
  ExpectNothingLostOrDoubled(2);
}

TEST_F(SmartTest, AKeyIsReplacedWithoutARestart) {
  TurnTimeByHand();
  StartDelivery();
  QueueNext();
  UntilCompleted(1);
  UseKey(KeyKind::kRsa2048);
  clock_.Turn(seconds(301));
  QueueNext();
  UntilCompleted(2);
  EXPECT_EQ(Given().asked, 2U);
  EXPECT_THAT(Given().faults, IsEmpty());
  ExpectNothingLostOrDoubled(2);
}

}  // namespace
}  // namespace dwell::delivery
