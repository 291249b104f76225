// The listener of operations on a real intake and store, over its real socket.
#include "daemon/operate/operate.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>

#include "tests/daemon/intake/http_rig.h"

namespace dwell::test {
namespace {

using std::chrono::milliseconds;
using testing::HasSubstr;
using testing::Not;

/// A store thread that stands still until it is let go.
class Standstill {
 public:
  explicit Standstill(store::Writer& writer) {
    std::promise<void> begun;
    auto waiting = begun.get_future();
    writer.Post({[this, &begun](store::Store&) -> Result<void> {
                   begun.set_value();
                   go_.get_future().wait();
                   return {};
                 },
                 {}});
    waiting.wait();
  }
  void End() { go_.set_value(); }

 private:
  std::promise<void> go_;
};

class OperateTest : public testing::Test {
 protected:
  void Start(operate::Options options = {}) {
    operate::Services services;
    services.net = rig_.executor();
    services.writer = &rig_.writer();
    services.pipeline = &rig_.pipeline;
    services.clock = &rig_.clock;
    services.alarm = [](const std::function<void()>& moved) { moved(); };
    services.endpoints = [] { return std::vector<operate::EndpointFacts>{{"main", {}}}; };
    services.caught_up_to = [] { return std::nullopt; };
    services.reloaded = [] { return std::nullopt; };
    services.ping = [this] { ++pings_; };
    options.address = "127.0.0.1";
    options.beat = milliseconds(2);
    operate_ = std::move(operate::Operate::Start(std::move(services), options).value());
  }

  std::string Ask(const std::string& target, const std::string& fields = "",
                  const std::string& method = "GET") const {
    RawClient client(operate_->port());
    client.Send(method + " " + target + " HTTP/1.1\r\nHost: a\r\n" + fields + "\r\n");
    return client.Response();
  }
  /// Asks until the answer has this status; a test whose answer never comes is ended by ctest.
  std::string AskUntil(const std::string& target, int status) const {
    std::string answer;
    do answer = Ask(target);
    while (StatusOf(answer) != status);
    return answer;
  }

  HttpRig rig_;
  std::atomic<int> pings_ = 0;
  std::unique_ptr<operate::Operate> operate_;
};

TEST_F(OperateTest, ItTellsOfLifeReadinessAndMetricsAndRefusesEverythingElse) {
  Start();
  EXPECT_EQ(BodyOf(AskUntil("/livez", 200)), "alive\n");
  EXPECT_EQ(BodyOf(AskUntil("/readyz", 200)), "ready\n");
  EXPECT_THAT(BodyOf(Ask("/readyz?verbose")), HasSubstr("ok   thread store: moves\n"));
  const std::string metrics = Ask("/metrics");
  EXPECT_THAT(metrics, HasSubstr("Content-Type: application/openmetrics-text; version=1.0.0; "
                                 "charset=utf-8\r\n"));
  EXPECT_TRUE(metrics.ends_with("# EOF\n"));
  EXPECT_THAT(Ask("/metrics", "Accept: text/plain\r\n"),
              HasSubstr("Content-Type: text/plain; version=0.0.4; charset=utf-8\r\n"));
  EXPECT_EQ(StatusOf(Ask("/metrics/x")), 404);
  EXPECT_EQ(StatusOf(Ask("/events")), 404);
  const std::string refused = Ask("/livez", "Content-Length: 0\r\n", "POST");
  EXPECT_EQ(StatusOf(refused), 405);
  EXPECT_THAT(refused, HasSubstr("Allow: GET, HEAD\r\n"));
  EXPECT_EQ(StatusOf(Ask("/livez", "Content-Length: 5000\r\n", "POST")), 413);
}

TEST_F(OperateTest, AHeadOfMetricsHasTheLengthAndNoBody) {
  Start();
  RawClient client(operate_->port());
  client.Send("HEAD /readyz HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n");
  const std::string answer = client.Response();
  EXPECT_THAT(answer, HasSubstr("Content-Length: "));
  EXPECT_TRUE(answer.ends_with("\r\n\r\n")) << answer;
}

TEST_F(OperateTest, EventsAreCountedByWhatBecameOfThem) {
  Start();
  const std::string event = Raw(Insertion("a", 0));
  EXPECT_EQ(StatusOf(rig_.Ask(Post(event))), 201);
  EXPECT_EQ(StatusOf(rig_.Ask(Post(event))), 200);
  EXPECT_EQ(StatusOf(rig_.Ask(Post(Raw(Insertion("a", 1))))), 409);
  EXPECT_EQ(StatusOf(rig_.Ask(Post(Raw(Insertion("b", 1))))), 422);  // a second insertion
  EXPECT_EQ(StatusOf(rig_.Ask(Post("{\"kind\":\"insertion\"}"))), 422);
  EXPECT_EQ(StatusOf(rig_.Ask(Post("{"))), 400);
  const std::string batch = Raw(Insertion("c", 0, "line-2")) + "\n" + event + "\n[]x\n";
  EXPECT_EQ(StatusOf(rig_.Ask(Post(batch, "application/x-ndjson"))), 200);
  const std::string text = BodyOf(Ask("/metrics"));
  for (const char* line :
       {"accepted_total{answer=\"stored\"} 2", "accepted_total{answer=\"repeated\"} 2",
        "refused_total{reason=\"conflict\"} 1", "refused_total{reason=\"contradiction\"} 1",
        "refused_total{reason=\"contract\"} 1", "refused_total{reason=\"not-json\"} 2",
        "refused_total{reason=\"not-now\"} 0"}) {
    EXPECT_THAT(text, HasSubstr("dwelld_events_" + std::string(line) + "\n"));
  }
  EXPECT_THAT(text, HasSubstr("dwelld_store_events 2\n"));
  EXPECT_THAT(text, HasSubstr("dwelld_store_lines 2\n"));
  EXPECT_THAT(text, HasSubstr("source_last_event_timestamp_seconds{source=\"ward-tablets\"} "
                              "1775001600.000\n"));
}

TEST_F(OperateTest, WhoDrainsIsAliveAndNotReady) {
  Start();
  AskUntil("/readyz", 200);
  rig_.pipeline.Drain();
  EXPECT_EQ(StatusOf(Ask("/readyz")), 503);
  EXPECT_EQ(StatusOf(Ask("/livez")), 200);
  EXPECT_EQ(StatusOf(rig_.Ask(Post(Raw(Insertion("a", 0))))), 503);
  EXPECT_THAT(BodyOf(Ask("/metrics")), HasSubstr("refused_total{reason=\"not-now\"} 1\n"));
}

// Row 37 of the hazards: healthy outside, stuck inside.
TEST_F(OperateTest, AStoreThreadThatStandsStillIsSeenAtBothDoorsAndEndsThePings) {
  operate::Options options;
  options.stuck_after = milliseconds(40);
  options.survey_time_max = milliseconds(20);
  options.watchdog = milliseconds(20);
  Start(options);
  AskUntil("/readyz", 200);
  while (pings_ < 3) std::this_thread::yield();
  Standstill still(rig_.writer());
  EXPECT_THAT(BodyOf(AskUntil("/livez?verbose", 503)), HasSubstr("FAIL thread store: stuck\n"));
  EXPECT_EQ(StatusOf(Ask("/readyz")), 503);
  const int pings = pings_;
  const std::string metrics = BodyOf(Ask("/metrics"));  // answered without the store's thread
  EXPECT_THAT(metrics, HasSubstr("dwelld_thread_stuck{thread=\"store\"} 1\n"));
  EXPECT_THAT(metrics, HasSubstr("dwelld_store_answers 0\n"));
  EXPECT_THAT(metrics, Not(HasSubstr("dwelld_bundles")));
  EXPECT_EQ(pings_, pings);
  for (const char* door : {"/livez", "/readyz"}) {  // the intake's own doors say the same
    EXPECT_EQ(StatusOf(rig_.Ask(Get(door))), 503) << door;
  }
  still.End();
  AskUntil("/livez", 200);
  AskUntil("/readyz", 200);
  while (pings_ == pings) std::this_thread::yield();
  EXPECT_THAT(BodyOf(Ask("/metrics")), HasSubstr("dwelld_store_answers 1\n"));
}

TEST_F(OperateTest, ANetworkThreadThatStandsStillIsSeenToo) {
  operate::Options options;
  options.stuck_after = milliseconds(40);
  Start(options);
  AskUntil("/livez", 200);
  std::promise<void> go;
  boost::asio::post(rig_.executor(), [&go] { go.get_future().wait(); });
  EXPECT_THAT(BodyOf(AskUntil("/livez?verbose", 503)), HasSubstr("FAIL thread net: stuck\n"));
  go.set_value();
  AskUntil("/livez", 200);
}

TEST_F(OperateTest, AnAddressThatIsTakenIsAnErrorAtTheStart) {
  Start();
  operate::Services services;
  services.net = rig_.executor();
  services.writer = &rig_.writer();
  services.pipeline = &rig_.pipeline;
  services.clock = &rig_.clock;
  operate::Options options;
  options.address = "127.0.0.1";
  options.port = operate_->port();
  const auto second = operate::Operate::Start(std::move(services), options);
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().kind(), ErrorKind::kBusy);
}

}  // namespace
}  // namespace dwell::test
