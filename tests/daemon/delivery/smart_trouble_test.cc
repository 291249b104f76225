// Delivery when tokens are refused, odd or cannot be had: the endpoint waits and says why, the
// bundles are not charged for it.
#include "tests/daemon/delivery/smart_fixture.h"

namespace dwell::delivery {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

TEST_F(SmartTest, ATokenNobodyAcceptsPausesTheEndpointInsteadOfAskingOnAndOn) {
  TurnTimeByHand();
  TokenManners dead;
  dead.dead_at_once = true;
  Tokens().SetManners(dead);
  Queue(16, 1);
  StartDelivery();
  Until([&] { return Given().asked == 2 && delivery_->progress().last_failure != ""; });
  Until([&] { return Waiting().size() == 16 && Stored().in_progress == 0; });
  EXPECT_EQ(Given().asked, 2U) << "the first, and one more at once";
  EXPECT_THAT(delivery_->progress().last_failure, HasSubstr("credentials"));
  for (const auto& row : Waiting()) EXPECT_EQ(row.attempts, 0U);
  Tokens().SetManners({});
  clock_.Turn(seconds(1000));
  delivery_->Wake();
  UntilCompleted(1);
  clock_.Turn(seconds(1000));
  delivery_->Wake();
  UntilCompleted(16);
  ExpectNothingLostOrDoubled(16);
}

class TokenMoodTest : public SmartTest, public testing::WithParamInterface<Mood::Kind> {};

TEST_P(TokenMoodTest, WhateverTheTokenEndpointDoesEverythingArrivesOnceAndCostsNoAttempt) {
  target_.attempt_time_max = milliseconds(100);
  Mood mood;
  mood.kind = GetParam();
  mood.next = 3;
  mood.containing = "client_assertion";
  SetMood(mood);
  Queue(16, 3);
  StartDelivery();
  Until([&] { return delivery_->progress().last_failure != "" || Stored().completed > 0; });
  ExpectNoSecretIn(delivery_->progress().last_failure);
  UntilCompleted(48);
  ExpectNothingLostOrDoubled(48);
  EXPECT_EQ(Given().rejected, 0U);
  EXPECT_THAT(Given().faults, IsEmpty()) << "no statement is used twice";
}

INSTANTIATE_TEST_SUITE_P(Moods, TokenMoodTest,
                         testing::Values(Mood::Kind::kResetBefore, Mood::Kind::kResetAfterCommit,
                                         Mood::Kind::kStall, Mood::Kind::kStallAfterCommit,
                                         Mood::Kind::kGarbage, Mood::Kind::kHtml200,
                                         Mood::Kind::kEmpty200, Mood::Kind::kTruncate,
                                         Mood::Kind::kStatus));

struct Oddity {
  const char* name;
  void (*change)(TokenManners&);
  const char* why;
};

class OddTokenTest : public SmartTest, public testing::WithParamInterface<Oddity> {};

TEST_P(OddTokenTest, IsNotUsedAndTheReasonIsSaid) {
  TurnTimeByHand();
  TokenManners odd;
  GetParam().change(odd);
  Tokens().SetManners(odd);
  Queue(4, 1);
  StartDelivery();
  Until([&] { return delivery_->progress().last_failure != ""; });
  EXPECT_THAT(delivery_->progress().last_failure, HasSubstr(GetParam().why));
  EXPECT_THAT(delivery_->progress().last_failure, HasSubstr("no access token"));
  EXPECT_EQ(Seen().requests, 0U) << "nothing went to the endpoint without a token";
  ExpectUntouched();
  Tokens().SetManners({});
  clock_.Turn(seconds(61));
  delivery_->Wake();
  UntilCompleted(1);
  delivery_->Wake();
  UntilCompleted(4);
  ExpectNothingLostOrDoubled(4);
}

INSTANTIATE_TEST_SUITE_P(
    Oddities, OddTokenTest,
    testing::Values(
        Oddity{"Type", [](TokenManners& m) { m.type = "mac"; }, "bearer"},
        Oddity{"Expired", [](TokenManners& m) { m.lifetime_s = 0; }, "expired"},
        Oddity{"Scope", [](TokenManners& m) { m.scope = "system/Task.cruds"; }, "scope"},
        Oddity{"Large", [](TokenManners& m) { m.body.assign(100'000, ' '); }, "more than"},
        Oddity{"Huge", [](TokenManners& m) { m.body.assign(5'000'000, ' '); }, "not acceptable"},
        Oddity{"TwoLines",
               [](TokenManners& m) {
                 m.body = R"({"access_token":"a\r\nX-Evil: 1","token_type":"bearer"})";
               },
               "fits"}),
    [](const auto& param) { return param.param.name; });

TEST_F(SmartTest, AWrongKeyHoldsTheEndpointAndNotTheBundlesUntilItIsRegistered) {
  TurnTimeByHand();
  Register(practice::WriteNewKey(KeyKind::kP384, folder_ / "other.key"));
  Queue(4, 2);
  StartDelivery();
  Until([&] { return delivery_->progress().last_failure != ""; });
  EXPECT_THAT(delivery_->progress().last_failure, HasSubstr("invalid_client"));
  EXPECT_THAT(Given().faults, ElementsAre("signature"));
  EXPECT_EQ(Seen().requests, 0U);
  ExpectUntouched();
  clock_.Turn(seconds(58));
  delivery_->Wake();
  EXPECT_EQ(Stored().completed, 0U);
  EXPECT_EQ(Given().asked, 1U) << "nobody hammers an issuer that refused";
  UseKey(KeyKind::kP384);
  clock_.Turn(seconds(3));
  delivery_->Wake();
  UntilCompleted(8);
  ExpectNothingLostOrDoubled(8);
}

TEST_F(SmartTest, AClockThatIsBehindIsNamedAndAllowedFor) {
  TurnTimeByHand();
  Tokens().SetClock([this] { return clock_.Now().time_since_epoch() / seconds(1) + 600; });
  Queue(1, 1);
  StartDelivery();
  Until([&] { return delivery_->progress().last_failure != ""; });
  EXPECT_THAT(Given().faults, ElementsAre("exp"));
  ASSERT_TRUE(delivery_->progress().clock_ahead.has_value());
  EXPECT_NEAR(static_cast<double>(delivery_->progress().clock_ahead->count()), -600, 2);
  clock_.Turn(seconds(61));
  delivery_->Wake();
  UntilCompleted(1);
  EXPECT_THAT(Given().faults, ElementsAre("exp"));
}

TEST_F(SmartTest, AStopDoesNotWaitForATokenThatDoesNotCome) {
  Mood mood;
  mood.kind = Mood::Kind::kStall;
  mood.next = -1;
  mood.containing = "client_assertion";
  SetMood(mood);
  target_.attempt_time_max = seconds(600);
  Queue(20, 1);
  StartDelivery();
  Until([&] { return Seen().in_flight_max == 1; });
  delivery_->Stop(milliseconds(1));
  EXPECT_EQ(Stored().ready, 20U);
  for (const auto& row : Waiting()) EXPECT_FALSE(row.uncertain);
}

TEST_F(SmartTest, WhatCannotServeIsSaidAtTheStart) {
  const auto start = [&] { return Delivery::Start(*writer_, system_clock_, target_); };
  ASSERT_TRUE(start());
  const std::string url = std::exchange(target_.tokens.token_url, "https://user@h/token");
  auto made = start();
  ASSERT_FALSE(made);
  EXPECT_THAT(made.error().message(), HasSubstr("token endpoint URL"));
  target_.tokens.token_url = url;
  std::filesystem::permissions(target_.tokens.key_file, std::filesystem::perms(0644));
  made = start();
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind(), ErrorKind::kConfig);
  EXPECT_THAT(made.error().message(), HasSubstr("every user"));
}

}  // namespace
}  // namespace dwell::delivery
