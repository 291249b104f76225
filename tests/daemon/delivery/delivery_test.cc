// Delivery against the practice endpoint and its moods: once, in order, whatever happens.
#include "tests/daemon/delivery/delivery_fixture.h"

namespace dwell::delivery {
namespace {

TEST_F(DeliveryTest, EverythingArrivesOnceInLaneOrderAndNeverTwoOfALaneAtATime) {
  Manners slow;
  slow.latency_ms = 1;  // so that requests really overlap
  slow.referential = true;
  endpoint_->desk().SetManners(slow);
  StartDelivery();
  Queue(20, 10);
  UntilCompleted(200);
  const Counts seen = Seen();
  EXPECT_EQ(seen.transactions, 200U);
  EXPECT_EQ(seen.requests, 200U);
  EXPECT_EQ(seen.repeats, 0U);
  EXPECT_EQ(seen.overlaps, 0U);
  EXPECT_GT(seen.in_flight_max, 4U) << "lanes go in parallel";
  EXPECT_LE(seen.in_flight_max, target_.in_flight_max);
  EXPECT_EQ(endpoint_->desk().VersionOf("Device/lane-7"), 10U);
  EXPECT_EQ(delivery_->progress().completed, 200U);
  EXPECT_EQ(delivery_->progress().last_failure, "");
  ExpectInOrder();
}

class MoodTest : public DeliveryTest, public testing::WithParamInterface<Mood::Kind> {};

TEST_P(MoodTest, EverythingArrivesAllTheSameAndInOrder) {
  target_.attempt_time_max = milliseconds(100);
  SetMood(GetParam(), 5);
  StartDelivery();
  Queue(4, 5);
  UntilCompleted(20);
  ExpectInOrder();
  EXPECT_EQ(Stored().on_hold, 0U);
  // A dripping peer is still busy with an attempt that we gave up when the next one comes.
  if (GetParam() != Mood::Kind::kDrip) {
    EXPECT_EQ(Seen().overlaps, 0U);
  }
  for (int lane = 0; lane < 4; ++lane) {
    // The same bytes again only make another version of the same resources.
    EXPECT_GE(endpoint_->desk().VersionOf("Device/lane-" + std::to_string(lane)), 5U);
  }
  EXPECT_EQ(Seen().created, 24U) << "4 devices, 20 observations, none of them twice";
  EXPECT_GT(delivery_->progress().again, 0U);
}

INSTANTIATE_TEST_SUITE_P(Moods, MoodTest,
                         testing::Values(Mood::Kind::kResetBefore, Mood::Kind::kResetAfterCommit,
                                         Mood::Kind::kStall, Mood::Kind::kStallAfterCommit,
                                         Mood::Kind::kDrip, Mood::Kind::kGarbage,
                                         Mood::Kind::kHtml200, Mood::Kind::kEmpty200,
                                         Mood::Kind::kTruncate, Mood::Kind::kStatus));

TEST_F(DeliveryTest, ALostAnswerIsUncertainUntilTheRepeatIsAnswered) {
  by_hand_ = true;
  SetMood(Mood::Kind::kResetAfterCommit, 1);
  StartDelivery();
  Queue(1, 1);
  std::vector<store::QueueRow> rows;
  Until([&] {
    rows = Waiting();
    return rows.size() == 1 && rows[0].attempts == 1;
  });
  EXPECT_TRUE(rows[0].uncertain);
  EXPECT_EQ(rows[0].state, DeliveryState::kReady);
  EXPECT_EQ(Seen().transactions, 1U);
  clock_.Turn(seconds(1));
  delivery_->Wake();
  UntilCompleted(1);
  EXPECT_EQ(Seen().repeats, 1U) << "byte for byte the same";
  EXPECT_EQ(Seen().created, 2U);
}

TEST_F(DeliveryTest, ARefusedBundleHoldsItsLaneOnlyAndItsOutcomeIsKept) {
  Mood mood;
  mood.kind = Mood::Kind::kRefuse;
  mood.next = -1;
  mood.containing = "lane-3-n1\"";
  SetMood(mood);
  StartDelivery();
  Queue(10, 3);
  UntilCompleted(28);
  const auto rows = Waiting();
  ASSERT_EQ(rows.size(), 2U);
  EXPECT_EQ(rows[0].line_id, "lane-3");
  EXPECT_EQ(rows[0].state, DeliveryState::kOnHold);
  EXPECT_EQ(rows[0].attempts, 1U);
  EXPECT_THAT(rows[0].why, testing::HasSubstr("422"));
  EXPECT_EQ(rows[1].state, DeliveryState::kReady);
  OnStore([&](store::Store& store) {
    const auto event = store.FindEvent("ward", rows[0].event_id);
    ASSERT_TRUE(event && *event);
    const auto bundles = store.BundlesOfEvent((*event)->seq);
    ASSERT_TRUE(bundles);
    int held = 0;
    for (const BundleRecord& bundle : *bundles) {
      if (bundle.state != DeliveryState::kOnHold) continue;
      ++held;
      EXPECT_THAT(bundle.outcome, testing::HasSubstr("OperationOutcome"));
    }
    EXPECT_EQ(held, 1);
  });
  EXPECT_EQ(delivery_->progress().refused, 1U);
}

/// Bundles 0 to 2 of ten lanes; the second of lane 3 is refused, and that is decided about.
class DecisionTest : public DeliveryTest {
 protected:
  std::int64_t HoldOne() {
    Mood mood;
    mood.kind = Mood::Kind::kRefuse;
    mood.next = -1;
    mood.containing = "lane-3-n1\"";
    SetMood(mood);
    StartDelivery();
    Queue(10, 3);
    UntilCompleted(28);
    Until([&] { return Stored().on_hold == 1; });
    SetMood(Mood());
    const auto rows = Waiting();
    EXPECT_EQ(rows.at(0).state, DeliveryState::kOnHold);
    return rows.at(0).bundle_seq;
  }
  void Decide(std::int64_t seq, store::Act act) {
    OnStore([&](store::Store& store) {
      store::DecisionRecord decision;
      decision.bundle_seq = seq;
      decision.act = act;
      decision.by = "op-3";
      decision.why = "looked at it";
      EXPECT_TRUE(store.Decide(decision));
    });
  }
  void Restart() {
    delivery_.reset();
    writer_.reset();
    OpenStore();
    StartDelivery();
  }
};

TEST_F(DecisionTest, AReleasedBundleIsDeliveredAndItsLaneGoesOnInOrder) {
  const std::int64_t held = HoldOne();
  Decide(held, store::Act::kReleased);
  delivery_->Wake();
  UntilCompleted(30);
  EXPECT_EQ(Stored().on_hold, 0U);
  EXPECT_EQ(endpoint_->desk().VersionOf("Device/lane-3"), 3U);
  EXPECT_EQ(endpoint_->desk().VersionOf("Device/lane-4"), 3U) << "others saw nothing of it";
  EXPECT_EQ(Seen().overlaps, 0U);
  ExpectInOrder();
}

TEST_F(DecisionTest, AfterACancelTheLaneGoesOnWithoutTheBundle) {
  const std::int64_t held = HoldOne();
  Decide(held, store::Act::kCancelled);
  delivery_->Wake();
  UntilCompleted(29);
  EXPECT_EQ(Stored().cancelled, 1U);
  EXPECT_TRUE(Waiting().empty());
  EXPECT_EQ(endpoint_->desk().VersionOf("Device/lane-3"), 2U);
  EXPECT_EQ(endpoint_->desk().VersionOf("Observation/lane-3-n1"), 0U);
  EXPECT_EQ(endpoint_->desk().VersionOf("Observation/lane-3-n2"), 1U);
}

TEST_F(DecisionTest, ARestartBetweenHoldAndDecisionAndAfterItChangesNothing) {
  const std::int64_t held = HoldOne();
  Restart();
  EXPECT_EQ(Stored().on_hold, 1U);
  delivery_.reset();
  Decide(held, store::Act::kReleased);
  Restart();
  UntilCompleted(30);
  EXPECT_EQ(endpoint_->desk().VersionOf("Device/lane-3"), 3U);
  ExpectInOrder();
}

TEST_F(DecisionTest, ABundleReleasedTooEarlyIsRefusedAgainAndHoldsItsLaneAsBefore) {
  const std::int64_t held = HoldOne();
  Mood mood;
  mood.kind = Mood::Kind::kRefuse;
  mood.next = -1;
  SetMood(mood);
  Decide(held, store::Act::kReleased);
  delivery_->Wake();
  Until([&] { return Stored().on_hold == 1; });
  const auto rows = Waiting();
  ASSERT_EQ(rows.size(), 2U);
  EXPECT_EQ(rows[0].bundle_seq, held);
  EXPECT_EQ(rows[0].attempts, 1U);
  EXPECT_EQ(rows[1].state, DeliveryState::kReady);
}

class RetryAfterTest : public DeliveryTest, public testing::WithParamInterface<const char*> {};

TEST_P(RetryAfterTest, NothingIsSentBeforeTheTimeTheEndpointNamed) {
  by_hand_ = true;
  Mood mood;
  mood.kind = Mood::Kind::kStatus;
  mood.status = 503;
  mood.retry_after = GetParam();
  mood.next = 1;
  target_.in_flight_max = 1;
  SetMood(mood);
  StartDelivery();
  Queue(3, 1);
  Until([&] { return Waiting().size() == 3 && Waiting()[0].attempts == 1; });
  clock_.Turn(seconds(98));
  delivery_->Wake();
  EXPECT_EQ(Stored().completed, 0U);
  EXPECT_EQ(Seen().requests, 1U) << "the other lanes wait as well";
  clock_.Turn(seconds(4));
  delivery_->Wake();
  UntilCompleted(2);
  clock_.Turn(seconds(200));
  delivery_->Wake();
  UntilCompleted(3);
}

INSTANTIATE_TEST_SUITE_P(Forms, RetryAfterTest, testing::Values("100", "date:100"));

TEST_F(DeliveryTest, ADeadEndpointPausesEveryoneAndUsesUpNobodysAttempts) {
  endpoint_->GoDown();
  StartDelivery();
  Queue(20, 2);
  Until([&] { return delivery_->progress().again >= 5; });
  for (const store::QueueRow& row : Waiting()) {
    EXPECT_EQ(row.attempts, 0U);
    EXPECT_FALSE(row.uncertain);
  }
  EXPECT_THAT(delivery_->progress().last_failure, testing::HasSubstr("refused"));
  ASSERT_TRUE(endpoint_->ComeBack());
  UntilCompleted(40);
  EXPECT_EQ(Seen().requests, 40U);
  EXPECT_EQ(delivery_->progress().last_failure, "");
  ExpectInOrder();
}

TEST_F(DeliveryTest, OnePoisonBundleThatMakesTheEndpointFailDoesNotStopTheOthers) {
  for (const int status : {503, 415}) {  // one strains the endpoint, the other looks like our fault
    Mood mood;
    mood.kind = Mood::Kind::kStatus;
    mood.status = status;
    mood.next = -1;
    mood.containing = "lane-0-n0\"";
    SetMood(mood);
    const auto before = Stored().completed;
    if (!delivery_) StartDelivery();
    Queue(30, 1);
    UntilCompleted(before + 29);
    SetMood(Mood::Kind::kNone, 0);
    UntilCompleted(before + 30);
  }
}

TEST_F(DeliveryTest, AStopReturnsWhatWasNotSentAndCutsOffWhatHangs) {
  target_.in_flight_max = 2;
  SetMood(Mood::Kind::kStall, 2);
  StartDelivery();
  Queue(9, 1);
  Until([&] { return Seen().in_flight_max == 2; });
  delivery_->Stop(milliseconds(1));
  const auto counts = Stored();
  EXPECT_EQ(counts.in_progress, 0U);
  EXPECT_EQ(counts.ready, 9U);
  int uncertain = 0;
  for (const auto& row : Waiting()) uncertain += row.uncertain ? 1 : 0;
  EXPECT_EQ(uncertain, 2);
}

TEST_F(DeliveryTest, ARestartInMidFlightDeliversOnce) {
  SetMood(Mood::Kind::kStallAfterCommit, 3);
  target_.in_flight_max = 3;
  StartDelivery();
  Queue(3, 2);
  Until([&] { return Seen().transactions == 3; });
  // The store as it lies on the disk at this moment, as after a kill, taken while nothing is
  // written.
  Until([&] { return writer_->waiting() == 0; });
  std::filesystem::path copy = folder_ / "copy";
  std::filesystem::create_directories(copy);
  OnStore([&](store::Store&) {
    for (const auto& file : std::filesystem::directory_iterator(folder_)) {
      if (file.is_regular_file()) std::filesystem::copy(file.path(), copy / file.path().filename());
    }
  });
  delivery_.reset();
  writer_.reset();
  folder_.swap(copy);
  OpenStore();
  for (const auto& row : Waiting()) {
    const bool was_in_flight = row.uncertain;
    EXPECT_EQ(row.state, DeliveryState::kReady);
    EXPECT_EQ(was_in_flight, row.bundle_seq % 2 == 1) << "the first of each lane was in flight";
  }
  StartDelivery();
  UntilCompleted(6);
  EXPECT_EQ(Seen().repeats, 3U);
  EXPECT_EQ(Seen().created, 9U) << "3 devices, 6 observations";
  ExpectInOrder();
  folder_.swap(copy);
}

TEST_F(DeliveryTest, ANewTokenIsTakenFromTheFileWithoutLosingAnAttempt) {
  endpoint_->desk().Demand("Bearer second");
  target_.bearer_file = folder_ / "token";
  std::ofstream(target_.bearer_file) << "first\n";
  StartDelivery();
  Queue(3, 1);
  Until([&] { return delivery_->progress().again > 0; });
  std::ofstream(target_.bearer_file) << "second\n";
  UntilCompleted(3);
  EXPECT_EQ(Stored().on_hold, 0U);
  EXPECT_GT(Seen().refused, 0U);
}

TEST_F(DeliveryTest, WhatCannotServeIsSaidAtTheStart) {
  base::SystemClock clock;
  Endpoint endpoint;
  endpoint.url = "ftp://h/";
  auto made = Delivery::Start(*writer_, clock, endpoint);
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind(), ErrorKind::kConfig);
  endpoint.url = "http://localhost/fhir";
  endpoint.bearer_file = folder_ / "missing";
  made = Delivery::Start(*writer_, clock, endpoint);
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind(), ErrorKind::kConfig);
  std::ofstream(endpoint.bearer_file) << "two words\n";
  EXPECT_FALSE(Delivery::Start(*writer_, clock, endpoint));
  endpoint.bearer_file.clear();
  endpoint.url = "https://localhost/fhir";
  endpoint.tls.authorities = folder_ / "missing.pem";
  made = Delivery::Start(*writer_, clock, endpoint);
  ASSERT_FALSE(made);
  EXPECT_EQ(made.error().kind(), ErrorKind::kTls);
}

}  // namespace
}  // namespace dwell::delivery
