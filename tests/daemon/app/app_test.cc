// The whole daemon against the practice endpoint, over its real sockets.
#include <future>
#include <thread>

#include "daemon/command/submit.h"
#include "tests/daemon/app/running_app.h"

namespace dwell::test {
namespace {

TEST(App, AnEventArrivesAtTheEndpointAndIsRememberedAcrossARestart) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  const ManualClock clock(Hour(2));
  const std::string event = Raw(Insertion("a", 0));
  {
    const RunningApp app(folder.path(), endpoint->url(), clock);
    RawClient client(app.port);
    client.Send(Post(event));
    EXPECT_EQ(StatusOf(client.Response()), 201);
    std::string story;
    while (story.find("\"state\":\"completed\"") == std::string::npos) {  // ctest bounds the time
      client.Send(Get("/events/a?source=ward-tablets"));
      story = BodyOf(client.Response());
    }
    EXPECT_EQ(AskSocket(app.socket, R"({"request":"queue"})"), "");
  }
  const RunningApp app(folder.path(), endpoint->url(), clock);
  RawClient client(app.port);
  client.Send(Post(event));
  EXPECT_EQ(StatusOf(client.Response()), 200);
  EXPECT_THAT(AskSocket(app.socket, R"({"request":"lines"})"),
              testing::HasSubstr("\"phase\":\"in-place\""));
}

TEST(App, WhatIsDueCanBeSearchedForWhereTheConfigurationAllowsIt) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  const ManualClock clock(Hour(2));
  const RunningApp app(folder.path(), endpoint->url(), clock,
                       "[search]\nlisten = \"127.0.0.1:0\"\n");
  ASSERT_NE(app.search_port, app.port);
  RawClient client(app.port);
  client.Send(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  RawClient searcher(app.search_port);
  searcher.Send(Get("/fhir/Task?code=removal-due&ward=alder"));
  const std::string found = searcher.Response();
  EXPECT_EQ(StatusOf(found), 200);
  EXPECT_THAT(found, testing::HasSubstr("Content-Type: application/fhir+json"));
  EXPECT_THAT(BodyOf(found), testing::HasSubstr("\"end\":\"2026-03-05T09:00:00Z\""));
  searcher.Send(Get("/fhir/Task?colour=red"));
  EXPECT_EQ(StatusOf(searcher.Response()), 400);
  client.Send(Get("/fhir/Task"));
  EXPECT_EQ(StatusOf(client.Response()), 404) << "not on the intake's listener";
}

// 31 days after it was delivered the body is gone: the sender is still told the same, the story
// says so, and the status tells of the clean-up.
TEST(App, AnEventWhoseDeliveriesAreNoLongerKeptIsStillKnown) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  ManualClock clock(Hour(2));
  const RunningApp app(folder.path(), endpoint->url(), clock);
  RawClient client(app.port);
  client.Send(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  std::string story;
  while (story.find("\"state\":\"completed\"") == std::string::npos) {  // ctest bounds the time
    client.Send(Get("/events/a?source=ward-tablets"));
    story = BodyOf(client.Response());
  }
  EXPECT_EQ(story.find("\"kept\""), std::string::npos);
  clock.Advance(std::chrono::days(29));  // by a clock that no ward bears out nothing goes
  client.Send(Post(Raw(Insertion("b", 2 + 29 * 24, "line-2"))));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  clock.Advance(std::chrono::days(2));
  std::string status;
  while (status.find("\"bodies_removed\":1,") == std::string::npos) {
    status = AskSocket(app.socket, R"({"request":"status"})");
  }
  client.Send(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(client.Response()), 200);
  client.Send(Get("/events/a?source=ward-tablets"));
  EXPECT_THAT(BodyOf(client.Response()),
              testing::ContainsRegex("\"state\":\"completed\".*\"kept\":false"));
}

// More than a year after its removal the line is gone from the store: the sender of an old event is
// told what it was told then, the sender of a late one that it is too late, and both can be looked
// at.
TEST(App, ALineThatEndedAYearAgoIsKnownButNoLongerKept) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  ManualClock clock(Hour(100));
  const RunningApp app(folder.path(), endpoint->url(), clock);
  RawClient client(app.port);
  const auto send = [&client](const Sketch& sketch) {
    client.Send(Post(Raw(sketch)));
    return client.Response();
  };
  EXPECT_EQ(StatusOf(send(Insertion("in", 0))), 201);
  EXPECT_EQ(StatusOf(send(Removal("out", 20))), 201);
  const auto status = [&app](const std::string& part) {
    while (AskSocket(app.socket, R"({"request":"status"})").find(part) == std::string::npos) {
    }
  };
  status("\"ready\":0,\"in-progress\":0,");  // ctest bounds the time
  clock.Advance(std::chrono::days(398));     // by a clock that no ward bears out nothing goes
  Sketch other = Insertion("other", 100 + 398 * 24, "line-2");
  EXPECT_EQ(StatusOf(send(other)), 201);
  clock.Advance(std::chrono::days(2));
  status("\"lines_no_longer_kept\":1,\"events_no_longer_kept\":2,");
  status("\"caught_up_to\":\"" + FormatInstant(clock.Now()));
  status("\"ready\":0,\"in-progress\":0,");

  const std::uint64_t arrived = endpoint->desk().counts().transactions;
  EXPECT_EQ(StatusOf(send(Insertion("in", 0))), 200);
  EXPECT_EQ(StatusOf(send(Insertion("in", 1))), 409);
  const std::string late = send(SiteCheck("late", 10));
  EXPECT_EQ(StatusOf(late), 422);
  EXPECT_THAT(BodyOf(late), testing::HasSubstr("\"code\":\"no-longer-kept\""));
  EXPECT_THAT(BodyOf(late), testing::HasSubstr("\"expression\":[\"/line_id\"]"));
  EXPECT_EQ(StatusOf(send(Insertion("again", 24 * 399))), 422);
  client.Send(Get("/events/in?source=ward-tablets"));
  EXPECT_THAT(BodyOf(client.Response()),
              testing::ContainsRegex("\"line\":\"line-1\".*\"no_longer_kept_since\":"));
  EXPECT_THAT(AskSocket(app.socket, R"({"request":"lines"})"),
              testing::HasSubstr(R"("line_id":"line-1","phase":"no-longer-kept",)"));
  EXPECT_EQ(endpoint->desk().counts().transactions, arrived);
}

TEST(App, APatientIsReferredToByTheEndpointsIdWhenConfiguredSo) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  const ManualClock clock(Hour(2));
  const RunningApp app(folder.path(), endpoint->url(), clock,
                       "[references]\npatient = \"resolved\"\n");
  practice::HttpRequest known;
  known.method = "PUT";
  known.target = "/fhir/Patient/p-1";
  known.content_type = "application/fhir+json";
  known.body = R"({"resourceType":"Patient","id":"p-1","identifier":)"
               R"([{"system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000018"}]})";
  EXPECT_EQ(endpoint->desk().Answer(known).status, 201);
  RawClient client(app.port);
  client.Send(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  std::string story;
  while (story.find("\"state\":\"completed\"") == std::string::npos) {  // ctest bounds the time
    client.Send(Get("/events/a?source=ward-tablets"));
    story = BodyOf(client.Response());
  }
  const std::string held = endpoint->desk().Dump("");
  EXPECT_THAT(held, testing::HasSubstr(
                        R"("reference":"Patient/p-1","type":"Patient","identifier":{"system":)"));
  EXPECT_THAT(held, testing::Not(testing::HasSubstr("?identifier=")));
  EXPECT_EQ(endpoint->desk().counts().searches, 1U);
}

TEST(App, SomebodyWhomTheEndpointDoesNotKnowIsWaitedForInTheQueue) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  const ManualClock clock(Hour(2));
  const RunningApp app(folder.path(), endpoint->url(), clock,
                       "[references]\npatient = \"resolved\"\n");
  RawClient client(app.port);
  client.Send(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  std::string queue;
  while (queue.find("\"state\":\"ready\"") == std::string::npos ||
         queue.find("knows none of that identifier yet") == std::string::npos) {
    queue = AskSocket(app.socket, R"({"request":"queue"})");
  }
  EXPECT_EQ(endpoint->desk().counts().transactions, 0U);
  EXPECT_EQ(endpoint->desk().Dump(""), "");
}

// The endpoint says yes and then loses it: read back, told, sent again, there again.
TEST(App, WhatTheEndpointLosesAfterItsYesIsFoundAndSentAgain) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  const ManualClock clock(Hour(2));
  const RunningApp app(folder.path(), endpoint->url(), clock);
  RawClient client(app.port);
  client.Send(Post(Raw(Insertion("a", 0))));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  std::string story;
  while (story.find("\"state\":\"completed\"") == std::string::npos) {  // ctest bounds the time
    client.Send(Get("/events/a?source=ward-tablets"));
    story = BodyOf(client.Response());
  }
  const std::string dump = endpoint->desk().Dump("Device");
  const std::size_t at = dump.find("\"id\":\"") + 6;
  const std::string device = "Device/" + dump.substr(at, dump.find('"', at) - at);
  ASSERT_TRUE(endpoint->desk().Forget(device));
  const std::string look = R"({"request":"reconcile","since":"1d"})";
  EXPECT_THAT(AskSocket(app.socket, look),
              testing::HasSubstr("{\"resource\":\"" + device + "\",\"grade\":\"missing\""));
  EXPECT_THAT(
      AskSocket(app.socket, R"({"request":"reconcile","since":"1d","send":true,"by":"op-3",)"
                            R"("why":"the record was restored"})"),
      testing::HasSubstr("\"sent\":1,\"deliveries\":1}"));
  while (endpoint->desk().VersionOf(device) == 0) std::this_thread::yield();
  while (!AskSocket(app.socket, R"({"request":"queue"})").empty()) std::this_thread::yield();
  EXPECT_THAT(AskSocket(app.socket, look), testing::HasSubstr("\"missing\":0,"));
  EXPECT_THAT(AskSocket(app.socket, R"({"request":"status"})"),
              testing::HasSubstr("\"reconciled\":{\"at\":"));
}

// The bodies that an endpoint committed, in order.
class Seen {
 public:
  explicit Seen(practice::PracticeEndpoint& endpoint) {
    endpoint.desk().OnCommit([this](std::string_view body) {
      const std::scoped_lock lock(mutex_);
      bodies_.emplace_back(body);
    });
  }
  std::vector<std::string> bodies() const {
    const std::scoped_lock lock(mutex_);
    return bodies_;
  }

 private:
  mutable std::mutex mutex_;
  std::vector<std::string> bodies_;
};

TEST(App, OfTwoEndpointsOneThatIsDownDoesNotTouchTheOtherAndMissesNothing) {
  const auto main = std::move(practice::PracticeEndpoint::Start({}).value());
  const auto research = std::move(practice::PracticeEndpoint::Start({}).value());
  const Seen at_main(*main);
  const Seen at_research(*research);
  const TempFolder folder;
  ManualClock clock(Hour(40));
  const std::string more = "[endpoints.research]\nurl = \"" + research->url() +
                           "\"\ntypes = [\"Observation\", \"Device\"]\n";
  const std::vector<std::string> ids{"e0", "e1", "e2", "e3", "e4"};
  research->GoDown();
  {
    const RunningApp app(folder.path(), main->url(), clock, more);
    RawClient client(app.port);
    for (const std::string& id : ids) {
      client.Send(Post(Raw(id == "e0" ? Insertion(id, 0) : SiteCheck(id, id[1] - '0'))));
      ASSERT_EQ(StatusOf(client.Response()), 201);
    }
    std::string status;  // ctest bounds the time
    while (at_main.bodies().size() < ids.size() ||
           status.find("\"last_failure\":\"research: ") == std::string::npos) {
      status = AskSocket(app.socket, R"({"request":"status"})");
    }
    EXPECT_THAT(status, testing::HasSubstr(R"("endpoint":"research","configured":true)"));
    EXPECT_THAT(AskSocket(app.socket, R"({"request":"queue"})"),
                testing::HasSubstr(R"("endpoint":"research","state":")"));
    EXPECT_TRUE(at_research.bodies().empty());
  }
  {
    // Not configured for a while: what waits for it stays, and is not sent to another.
    const RunningApp app(folder.path(), main->url(), clock);
    EXPECT_THAT(AskSocket(app.socket, R"({"request":"queue"})"),
                testing::HasSubstr(R"("endpoint":"research","endpoint_configured":false)"));
    EXPECT_THAT(AskSocket(app.socket, R"({"request":"status"})"),
                testing::HasSubstr(R"("endpoint":"research","configured":false)"));
  }
  ASSERT_TRUE(research->ComeBack());
  clock.Advance(limits::kBackoffMax + std::chrono::seconds(1));
  const RunningApp app(folder.path(), main->url(), clock, more);
  RawClient client(app.port);
  std::string queue = "not asked yet";
  while (!queue.empty()) queue = AskSocket(app.socket, R"({"request":"queue"})");
  for (const Seen* seen : {&at_main, &at_research}) {
    ASSERT_EQ(seen->bodies().size(), ids.size()) << "each once";
    for (std::size_t i = 0; i < ids.size(); ++i) {
      EXPECT_THAT(seen->bodies()[i], testing::HasSubstr(ids[i] + "/")) << "in order";
    }
  }
  for (const char* type : {"Procedure", "Task", "DeviceUseStatement", "Provenance"}) {
    EXPECT_NE(main->desk().Dump(type), "") << type;
    EXPECT_EQ(research->desk().Dump(type), "") << type;
  }
  EXPECT_NE(research->desk().Dump("Device"), "");
  EXPECT_NE(research->desk().Dump("Observation"), "");
  for (const auto& endpoint : {&main, &research}) {
    EXPECT_EQ((*endpoint)->desk().counts().repeats, 0U);
    EXPECT_EQ((*endpoint)->desk().counts().overlaps, 0U);
  }
  client.Send(Get("/events/e1?source=ward-tablets"));
  EXPECT_THAT(BodyOf(client.Response()),
              testing::ContainsRegex("\"endpoint\":\"main\".*\"endpoint\":\"research\""));
}

TEST(Submit, CutsLinesIntoPortionsAndLeavesOneEventWhole) {
  const auto portions = command::Cut("{}\n{}\n\n{}\n", 2, 1000);
  ASSERT_EQ(portions.size(), 2U);
  EXPECT_EQ(portions[0].body, "{}\n{}\n");
  EXPECT_EQ(portions[1].first_line, 3U);
  EXPECT_EQ(portions[1].body, "\n{}\n");
  const auto one = command::Cut("{\n \"a\": 1\n}\n", 2, 1000);
  ASSERT_EQ(one.size(), 1U);
  EXPECT_TRUE(one[0].one_event);
  EXPECT_EQ(one[0].body, "{\n \"a\": 1\n}\n");
  EXPECT_TRUE(command::Cut("\n\n", 2, 1000).empty());
}

}  // namespace
}  // namespace dwell::test
