// Delivery as a whole for tests: a real store and a real practice endpoint. Nobody sleeps: tests
// wait for what they expect, and time is turned by hand where the rule is about time.
#pragma once

#include <gmock/gmock.h>

#include <atomic>
#include <condition_variable>
#include <filesystem>
#include <fstream>
#include <map>
#include <mutex>
#include <thread>

#include "daemon/delivery/delivery.h"
#include "tests/endpoint/practice_endpoint.h"

namespace dwell::delivery {

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
/// Observation; `more` stands in the Observation.
inline std::string BundleText(int lane, int number, const std::string& more = "") {
  const std::string line = "lane-" + std::to_string(lane);
  const std::string mark = line + "-n" + std::to_string(number);
  return R"({"resourceType":"Bundle","type":"transaction","entry":[)"
         R"({"resource":{"resourceType":"Device","id":")" +
         line + R"(","lotNumber":")" + mark + R"("},"request":{"method":"PUT","url":"Device/)" +
         line +
         R"("}},)"
         R"({"resource":{"resourceType":"Observation","id":")" +
         mark + R"(","device":{"reference":"Device/)" + line + R"("})" + more +
         R"(},"request":{"method":"PUT","url":"Observation/)" + mark + R"("}}]})";
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
    // Otherwise the statement is read first. See statement_test.cc.
    target_.pins.interaction = Interaction::kTransaction;
    target_.pins.identity = Identity::kUpdateAsCreate;
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
        std::vector<std::string> bodies;
        for (int number = 0; number < each; ++number) bodies.push_back(BundleText(lane, number));
        Add(store, lane, bodies);
      }
    });
    if (delivery_) delivery_->Wake();
  }

  /// One more event of the lane, and its bundles.
  void Add(store::Store& store, int lane, const std::vector<std::string>& bodies) {
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
    for (const std::string& body : bodies) {
      BundleRecord bundle;
      bundle.line_seq = *line_seq;
      bundle.event_seq = *event_seq;
      bundle.made_at = Clock().Now();
      bundle.body = body;
      bundle.entries = 2;
      const auto added = store.AddBundle(bundle);
      ASSERT_TRUE(added);
    }
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
      std::size_t at = body.find("\"lotNumber\":\"");
      if (at == std::string::npos) continue;  // a patient that the test made known
      at += 13;
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

}  // namespace dwell::delivery
