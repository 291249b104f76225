// Reading back from an endpoint that knows our resources by identifier, under ids of its own.
#include "daemon/reconcile/as_written.h"
#include "tests/daemon/reconcile/reconcile_rig.h"

namespace dwell::reconcile {
namespace {

using delivery::Identity;
using delivery::Interaction;
using test::Insertion;
using test::SiteCheck;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class ByIdentifier : public ReconcileRig, public testing::WithParamInterface<Interaction> {
 protected:
  ByIdentifier() {
    target_.pins.identity = Identity::kConditionalUpdate;
    target_.pins.interaction = GetParam();
    practice::Manners manners;
    manners.resolving = true;
    manners.own_ids = true;
    endpoint_->desk().SetManners(manners);
  }
  void Deliver() {
    StartAll();
    Store(Insertion("a", 0));
    Store(SiteCheck("b", 1));
    UntilDelivered();
  }
  std::size_t Held() {
    return static_cast<std::size_t>(std::ranges::count(endpoint_->desk().Dump(""), '\n'));
  }
};

INSTANTIATE_TEST_SUITE_P(Interactions, ByIdentifier,
                         testing::Values(Interaction::kTransaction, Interaction::kBatch,
                                         Interaction::kSingle),
                         [](const auto& each) {
                           return std::string(delivery::InteractionName(each.param));
                         });

TEST_P(ByIdentifier, NothingIsFoundWhenTheEndpointHoldsWhatItAccepted) {
  Deliver();
  const Told told = All();
  EXPECT_THAT(told.findings, IsEmpty());
  EXPECT_EQ(told.tally.compared, Held());
  EXPECT_GT(told.tally.compared, 5U);
}

TEST_P(ByIdentifier, WhatIsForgottenIsMissingAndIsThereOnceAfterwards) {
  Deliver();
  const std::size_t held = Held();
  std::vector<std::string> lost = KeysOf("Provenance");
  lost.push_back(KeysOf("Procedure").at(0));
  for (const std::string& key : lost) ASSERT_TRUE(endpoint_->desk().Forget(key));
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(lost.size()));
  for (const Finding& finding : told.findings) EXPECT_EQ(finding.grade, Grade::kMissing);
  EXPECT_EQ(told.tally.sent, lost.size());
  UntilDelivered();
  EXPECT_EQ(Held(), held);
  All(Sending());  // what named the lost one by the id that it had
  UntilDelivered();
  EXPECT_EQ(Held(), held);
  EXPECT_THAT(All().findings, IsEmpty());
}

TEST_P(ByIdentifier, WhatIsAlteredDiffersAndIsPutRight) {
  Deliver();
  const std::string procedure = KeysOf("Procedure").at(0);
  ASSERT_TRUE(
      endpoint_->desk().Alter(procedure, R"("status":"completed")", R"("status":"in-progress")"));
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kDiffers);
  ASSERT_THAT(told.findings[0].differences, SizeIs(1));
  EXPECT_EQ(told.findings[0].differences[0].pointer, "/status");
  UntilDelivered();
  EXPECT_THAT(TextOf(procedure), HasSubstr(R"("status":"completed")"));
}

TEST_P(ByIdentifier, AProvenanceThatDiffersIsToldAndNotSentForItIsNeverChanged) {
  Deliver();
  const std::string key = KeysOf("Provenance").at(0);
  ASSERT_TRUE(endpoint_->desk().Alter(key, R"("recorded":"2)", R"("recorded":"1)"));
  const Told told = All(Sending());
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kDiffers);
  EXPECT_EQ(told.tally.sent, 0U);
}

TEST_P(ByIdentifier, WhatIsThereTwiceIsAFindingOfItsOwnAndNeverSent) {
  Deliver();
  const std::string device = KeysOf("Device").at(0);
  std::string copy = TextOf(device);
  const std::string id = device.substr(device.find('/') + 1);
  copy.replace(copy.find(id), id.size(), "a-copy");
  endpoint_->desk().SetManners({});
  ASSERT_EQ(Put("Device/a-copy", copy), 201);
  Order order = Sending();
  order.overwrite = true;
  const Told told = All(order);
  ASSERT_THAT(told.findings, SizeIs(1));
  EXPECT_EQ(told.findings[0].grade, Grade::kDoubled);
  EXPECT_THAT(told.findings[0].why, HasSubstr("more than one"));
  EXPECT_EQ(told.tally.doubled, 1U);
  EXPECT_EQ(told.tally.sent, 0U);
}

TEST_P(ByIdentifier, ASearchThatIsIgnoredIsNoProofOfAnything) {
  Deliver();
  practice::Manners manners;
  manners.searching = practice::Searching::kIgnores;
  endpoint_->desk().SetManners(manners);
  const Told told = All(Sending());
  EXPECT_EQ(told.tally.missing, 0U);
  EXPECT_EQ(told.tally.sent, 0U);
}

TEST(AsWritten, IsAskedForAsTheStyleWritesIt) {
  ledger::Accepted accepted;
  accepted.type = "Device";
  accepted.id = "dwell-0ae1e8b0-5b5c-5d0e-8d3f-6a9d2f0a1b2c";
  accepted.json = R"({"resourceType":"Device","id":")" + accepted.id +
                  R"(","identifier":[{"system":"https://a.example","value":"1|2"}]})";
  const AsWritten ours = WrittenBy(accepted, Interaction::kTransaction, Identity::kUpdateAsCreate);
  EXPECT_EQ(ours.search, "");
  EXPECT_EQ(ours.json, accepted.json);
  const AsWritten theirs =
      WrittenBy(accepted, Interaction::kTransaction, Identity::kConditionalUpdate);
  EXPECT_EQ(theirs.search, "Device?identifier=https%3A%2F%2Fa.example%7C1%5C%7C2");
  EXPECT_THAT(theirs.json, HasSubstr("urn:uuid:0ae1e8b0-5b5c-5d0e-8d3f-6a9d2f0a1b2c"));
  EXPECT_THAT(theirs.json, testing::Not(HasSubstr("\"id\"")));
  accepted.id = "not-one-of-ours";
  EXPECT_EQ(WrittenBy(accepted, Interaction::kBatch, Identity::kConditionalUpdate).json, "");
}

}  // namespace
}  // namespace dwell::reconcile
