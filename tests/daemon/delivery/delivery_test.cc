// Delivery as a whole: a real store, a real practice endpoint, its moods. Nobody sleeps: tests wait
// for what they expect and time is turned by hand where the rule is about time.
#include "daemon/delivery/delivery.h"

#include <gmock/gmock.h>

#include <atomic>
#include <condition_variable>
#include <filesystem>
#include <fstream>
#include <mutex>

#include "tests/endpoint/certificates.h"
#include "tests/endpoint/practice_endpoint.h"

namespace dwell::delivery {
namespace {

using practice::Counts;
using practice::Keep;
using practice::Manners;
using practice::Mood;
using practice::PracticeEndpoint;
using std::chrono::milliseconds;
using std::chrono::seconds;
using store::BundleRecord;
using store::DeliveryState;

class HandClock final : public base::Clock {
 public:
  Instant Now() const override { return Instant(milliseconds(now_ms_)); }
  std::chrono::steady_clock::time_point Steady() const {
    return std::chrono::steady_clock::time_point(milliseconds(now_ms_.load()));
  }
  void Turn(milliseconds by) { now_ms_ += by.count(); }

 private:
  std::atomic<std::int64_t> now_ms_{1'770'000'000'000};
};

/// A lane's bundle: it writes the lane's Device (so that order shows in versions) and one
/// Observation.
std::string BundleText(int lane, int number) {
  const std::string line = "lane-" + std::to_string(lane);
  const std::string mark = line + "-n" + std::to_string(number);
  return R"({"resourceType":"Bundle","type":"transaction","entry":[)"
         R"({"resource":{"resourceType":"Device","id":")" +
         line + R"(","lotNumber":")" + mark + R"("},"request":{"method":"PUT","url":"Device/)" +
         line +
         R"("}},)"
         R"({"resource":{"resourceType":"Observation","id":")" +
         mark + R"(","device":{"reference":"Device/)" + line +
         R"("}},"request":{"method":"PUT","url":"Observation/)" + mark + R"("}}]})";
}

class DeliveryTest : public testing::Test {
 protected:
  DeliveryTest()
      : folder_(std::filesystem::temp_directory_path() /
                ("delivery-" + std::to_string(::getpid()) + "-" +
                 testing::UnitTest::GetInstance()->current_test_info()->name())) {
    std::filesystem::create_directories(folder_);
    OpenStore();
    StartEndpoint({});
  }
  ~DeliveryTest() override {
    delivery_.reset();
    writer_.reset();
    endpoint_.reset();
    std::filesystem::remove_all(folder_);
  }

  void OpenStore() {
    auto store = store::Store::Open(folder_ / "store.db");
    ASSERT_TRUE(store) << store.error().message();
    writer_ = std::make_unique<store::Writer>(
        std::move(*store), [](const Error& error) { ADD_FAILURE() << error.message(); });
  }

  void StartEndpoint(const practice::EndpointOptions& options) {
    endpoint_.reset();
    auto made = PracticeEndpoint::Start(options);
    ASSERT_TRUE(made) << made.error().message();
    endpoint_ = std::move(*made);
    endpoint_->desk().OnCommit([this](std::string_view body) { commits_.emplace_back(body); });
    target_.url = endpoint_->url();
  }

  void StartDelivery() {
    Means means;
    means.backoff = {.first = milliseconds(2), .most = milliseconds(8)};
    if (by_hand_) means.steady = [this] { return clock_.Steady(); };
    auto made = Delivery::Start(*writer_, Clock(), target_, std::move(means));
    ASSERT_TRUE(made) << made.error().message();
    delivery_ = std::move(*made);
  }

  const base::Clock& Clock() const {
    return by_hand_ ? static_cast<const base::Clock&>(clock_) : system_clock_;
  }

  /// Runs on the store's thread and waits for the commit.
  template <class Work>
  void OnStore(Work work) {
    std::mutex mutex;
    std::condition_variable told;
    bool is_done = false;
    store::Job job;
    job.work = [&work](store::Store& store) -> Result<void> {
      work(store);
      return {};
    };
    job.done = [&](const Result<void>& done) {
      EXPECT_TRUE(done);
      const std::scoped_lock lock(mutex);
      is_done = true;
      told.notify_one();
    };
    writer_->Post(std::move(job));
    std::unique_lock lock(mutex);
    told.wait(lock, [&] { return is_done; });
  }

  void Queue(int lanes, int each) {
    OnStore([&](store::Store& store) {
      for (int lane = 0; lane < lanes; ++lane) {
        store::LineRecord line;
        line.key.source = "ward";
        line.key.line_id = "lane-" + std::to_string(lane);
        line.summary = "{}";
        const auto known = store.LoadLine(line.key);
        ASSERT_TRUE(known);
        const auto line_seq = *known ? Result<std::int64_t>((*known)->seq) : store.SaveLine(line);
        ASSERT_TRUE(line_seq);
        store::EventRecord event;
        event.source = "ward";
        event.id = line.key.line_id + "-" + std::to_string(++events_);
        event.kind = "insertion";
        event.raw = "{}";
        const auto event_seq = store.AddEvent(event, *line_seq);
        ASSERT_TRUE(event_seq);
        for (int number = 0; number < each; ++number) {
          BundleRecord bundle;
          bundle.line_seq = *line_seq;
          bundle.event_seq = *event_seq;
          bundle.made_at = Clock().Now();
          bundle.body = BundleText(lane, number);
          const auto added = store.AddBundle(bundle);
          ASSERT_TRUE(added);
        }
      }
    });
    if (delivery_) delivery_->Wake();
  }

  store::Counts Stored() {
    store::Counts counts;
    OnStore([&](store::Store& store) { counts = *store.Count(); });
    return counts;
  }

  std::vector<store::QueueRow> Waiting() {
    std::vector<store::QueueRow> rows;
    OnStore([&](store::Store& store) { rows = *store.ListQueue(0, 1000); });
    return rows;
  }

  /// Looks again and again until it holds; a test that hangs here fails by its time limit.
  template <class Condition>
  void Until(Condition condition) {
    const auto give_up = std::chrono::steady_clock::now() + seconds(20);
    while (!condition()) {
      ASSERT_LT(std::chrono::steady_clock::now(), give_up) << "it never came about";
      std::this_thread::yield();
    }
  }
  void UntilCompleted(std::uint64_t number) {
    Until([&] { return Stored().completed >= number; });
  }

  /// Each lane's bundles were committed in order; repeats of the same one are allowed.
  void ExpectInOrder() {
    std::map<std::string, int> last;
    for (const std::string& body : commits_) {
      const std::size_t at = body.find("\"lotNumber\":\"") + 13;
      const std::string mark = body.substr(at, body.find('"', at) - at);
      const std::string lane = mark.substr(0, mark.rfind("-n"));
      const int number = std::stoi(mark.substr(mark.rfind("-n") + 2));
      const int before = last.contains(lane) ? last[lane] : -1;
      EXPECT_TRUE(number == before || number == before + 1) << mark << " after " << before;
      last[lane] = number;
    }
  }

  Counts Seen() { return endpoint_->desk().counts(); }
  void SetMood(Mood::Kind kind, long next) {
    Mood mood;
    mood.kind = kind;
    mood.next = next;
    SetMood(mood);
  }
  void SetMood(const Mood& mood) { endpoint_->desk().SetMood(mood); }

  std::filesystem::path folder_;
  HandClock clock_;
  base::SystemClock system_clock_;
  bool by_hand_ = false;
  int events_ = 0;
  std::vector<std::string> commits_;  ///< of the endpoint's thread; looked at when it is quiet
  Endpoint target_;
  std::unique_ptr<PracticeEndpoint> endpoint_;
  std::unique_ptr<store::Writer> writer_;
  std::unique_ptr<Delivery> delivery_;
};

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

TEST_F(TlsDeliveryTest, PlainHttpOnATlsPortIsRefused) {
  target_.tls.authorities = authority_.file();
  target_.url.replace(0, 4, "https");
  ExpectRefused("TLS");
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
