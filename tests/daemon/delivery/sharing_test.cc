// Requests that several bundles share, and the style that the endpoint's statement chooses, against
// the practice endpoint.
#include "tests/daemon/delivery/delivery_fixture.h"

namespace dwell::delivery {
namespace {

using testing::HasSubstr;

/// A UUID that says which it is.
std::string Uuid(char kind, int lane, int number) {
  const std::string text = std::to_string(1'000'000 + lane * 1'000 + number);
  return std::string("00000000-0000-5000-8000-0000") + kind + text;
}

/// The resource as an entry of a bundle of ours.
std::string EntryText(const std::string& type, const std::string& uuid, const std::string& more) {
  return R"({"fullUrl":"urn:uuid:)" + uuid + R"(","resource":{"resourceType":")" + type +
         R"(","id":"dwell-)" + uuid + R"(",)" + more + R"(},"request":{"method":"PUT","url":")" +
         type + R"(/dwell-)" + uuid + R"("}})";
}

/// As BundleText(), with ids by which every style can send it.
std::string OwnText(int lane, int number) {
  return R"({"resourceType":"Bundle","type":"transaction","entry":[)" +
         EntryText(
             "Device", Uuid('d', lane, 0),
             R"("lotNumber":"lane-)" + std::to_string(lane) + "-n" + std::to_string(number) + '"') +
         "," +
         EntryText("Observation", Uuid('0', lane, number),
                   R"("device":{"reference":"Device/dwell-)" + Uuid('d', lane, 0) + R"("})") +
         "]}";
}

class SharingTest : public DeliveryTest {
 protected:
  SharingTest() {
    target_.pins.share_max = 10;
    target_.in_flight_max = 2;
  }
  void ReadStatement() { target_.pins = {.interaction = {}, .identity = {}, .share_max = 10}; }
  void QueueOwn(int lanes, int each) {
    OnStore([&](store::Store& store) {
      for (int lane = 0; lane < lanes; ++lane) {
        std::vector<std::string> bodies;
        for (int number = 0; number < each; ++number) bodies.push_back(OwnText(lane, number));
        Add(store, lane, bodies);
      }
    });
  }
  /// Each bundle's Observation is there, and none twice.
  void ExpectAllThere(int lanes, int each) {
    for (int lane = 0; lane < lanes; ++lane) {
      for (int number = 0; number < each; ++number) {
        const std::string key = "Observation/dwell-" + Uuid('0', lane, number);
        EXPECT_EQ(endpoint_->desk().VersionOf(key), 1U) << key;
      }
    }
    EXPECT_EQ(Seen().created, static_cast<std::uint64_t>(lanes * (1 + each)));
    EXPECT_EQ(Stored().on_hold, 0U);
  }
};

TEST_F(SharingTest, BundlesOfManyLanesShareATransaction) {
  QueueOwn(100, 3);
  StartDelivery();
  UntilCompleted(300);
  EXPECT_LT(Seen().requests, 100U);
  EXPECT_EQ(Seen().overlaps, 0U);
  ExpectAllThere(100, 3);
  EXPECT_EQ(endpoint_->desk().VersionOf("Device/dwell-" + Uuid('d', 7, 0)), 3U);
}

TEST_F(SharingTest, OnePoisonAmongAThousandHoldsOnlyItsOwnLane) {
  Mood mood;
  mood.kind = Mood::Kind::kRefuse;
  mood.next = -1;
  mood.containing = "lane-437-n0\"";
  SetMood(mood);
  Queue(1'000, 1);
  StartDelivery();
  UntilCompleted(999);
  Until([&] { return Stored().on_hold == 1; });
  const auto rows = Waiting();
  ASSERT_EQ(rows.size(), 1U);
  EXPECT_EQ(rows[0].line_id, "lane-437");
  EXPECT_EQ(rows[0].attempts, 1U);
  EXPECT_THAT(rows[0].why, HasSubstr("422"));
  EXPECT_LT(Seen().requests, 300U) << "one load of ten was refused and went again one by one";
  EXPECT_EQ(Seen().repeats, 0U);
}

TEST_F(SharingTest, ALoadWhoseAnswerIsLostGoesAgainEachByItselfAndNothingIsDoubled) {
  Queue(60, 1);
  SetMood(Mood::Kind::kResetAfterCommit, 2);
  StartDelivery();
  UntilCompleted(60);
  EXPECT_EQ(Seen().created, 120U);
  EXPECT_EQ(Seen().overlaps, 0U);
  EXPECT_EQ(Stored().on_hold, 0U);
}

TEST_F(SharingTest, ALimitOfEntriesIsLearnedAndNothingIsHeld) {
  Manners manners;
  manners.entries_max = 7;
  endpoint_->desk().SetManners(manners);
  QueueOwn(200, 1);
  StartDelivery();
  UntilCompleted(200);
  ExpectAllThere(200, 1);
  EXPECT_LE(delivery_->progress().entries_max, 7U);
  EXPECT_GE(delivery_->progress().entries_max, 2U) << "loads of ten bundles have 20 entries";
  EXPECT_LT(Seen().requests, 150U);
}

TEST_F(SharingTest, TheStatementOfAnEndpointThatTakesOnlyBatchesIsFollowed) {
  Manners manners;
  manners.taking = practice::Taking::kBatches;
  endpoint_->desk().SetManners(manners);
  ReadStatement();
  QueueOwn(50, 2);
  StartDelivery();
  UntilCompleted(100);
  ExpectAllThere(50, 2);
  EXPECT_THAT(delivery_->progress().writes, HasSubstr("batch"));
}

TEST_F(SharingTest, TheStatementOfAnEndpointThatTakesOnlySinglesIsFollowed) {
  Manners manners;
  manners.taking = practice::Taking::kSingles;
  endpoint_->desk().SetManners(manners);
  ReadStatement();
  QueueOwn(10, 2);
  StartDelivery();
  UntilCompleted(20);
  ExpectAllThere(10, 2);
  EXPECT_THAT(delivery_->progress().writes, HasSubstr("single"));
}

TEST_F(SharingTest, AnEndpointThatIsDownAtTheStartIsAskedBeforeItIsSentAnything) {
  Manners manners;
  manners.taking = practice::Taking::kBatches;
  endpoint_->desk().SetManners(manners);
  ReadStatement();
  endpoint_->GoDown();
  QueueOwn(20, 1);
  StartDelivery();
  Until([&] { return delivery_->progress().again >= 2; });
  ASSERT_TRUE(endpoint_->ComeBack());
  UntilCompleted(20);
  EXPECT_EQ(Stored().on_hold, 0U);
  EXPECT_THAT(delivery_->progress().writes, HasSubstr("batch"));
}

TEST_F(SharingTest, AStatementThatNeverComesKeepsDeliveryWaitingForOneAttemptOnly) {
  target_.attempt_time_max = milliseconds(200);
  ReadStatement();
  Mood mood;
  mood.kind = Mood::Kind::kStall;
  mood.next = -1;
  mood.containing = "/metadata";
  SetMood(mood);
  QueueOwn(5, 1);
  StartDelivery();
  UntilCompleted(5);
  EXPECT_THAT(delivery_->progress().writes, HasSubstr("transaction"));
}

TEST_F(SharingTest, AStopDoesNotWaitForAStatementThatNeverComes) {
  ReadStatement();
  Mood mood;
  mood.kind = Mood::Kind::kStall;
  mood.next = -1;
  mood.containing = "/metadata";
  SetMood(mood);
  StartDelivery();
  Until([&] { return Seen().requests == 1; });
  delivery_->Stop(std::chrono::hours(1));
  EXPECT_EQ(Seen().requests, 1U);
}

}  // namespace
}  // namespace dwell::delivery
