// Connections over real loopback sockets: framing, limits, order, draining.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "tests/daemon/intake/http_rig.h"

namespace dwell::test {
namespace {

using std::chrono::milliseconds;
using testing::HasSubstr;

intake::ListenerOptions ShortDeadlines() {
  intake::ListenerOptions options;
  options.connection.request_time_max = milliseconds(50);
  options.connection.idle_time_max = milliseconds(50);
  return options;
}

TEST(Session, AnswersPipelinedRequestsInOrder) {
  HttpRig rig;
  RawClient client(rig.port);
  client.Send(Get("/livez") + Post(Raw(Insertion("a", 0))) + Get("/nowhere") + Get("/readyz"));
  EXPECT_EQ(StatusOf(client.Response()), 200);
  EXPECT_EQ(StatusOf(client.Response()), 201);
  EXPECT_EQ(StatusOf(client.Response()), 404);
  EXPECT_EQ(BodyOf(client.Response()), "ready\n");
}

TEST(Session, KeepsTheConnectionUntilTheSenderWantsItClosed) {
  HttpRig rig;
  RawClient client(rig.port);
  for (int i = 0; i < 3; ++i) {
    client.Send(Get("/livez"));
    EXPECT_EQ(StatusOf(client.Response()), 200);
  }
  client.Send("GET /livez HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n");
  EXPECT_THAT(client.Response(), HasSubstr("\r\nConnection: close\r\n"));
  EXPECT_TRUE(client.AtEnd());
}

TEST(Session, ReadsAChunkedBodyThatArrivesByteByByte) {
  HttpRig rig;
  RawClient client(rig.port);
  const std::string event = Raw(Insertion("a", 0));
  client.Send(
      "POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
      "Transfer-Encoding: chunked\r\n\r\n");
  for (const char c : event) client.Send(std::string("1\r\n") + c + "\r\n");
  client.Send("0\r\n\r\n" + Get("/livez"));
  EXPECT_EQ(StatusOf(client.Response()), 201);
  EXPECT_EQ(StatusOf(client.Response()), 200);
}

TEST(Session, AsksForTheBodyWhenTheSenderWaitsForThat) {
  HttpRig rig;
  RawClient client(rig.port);
  const std::string event = Raw(Insertion("a", 0));
  client.Send(
      "POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
      "Expect: 100-continue\r\nContent-Length: " +
      std::to_string(event.size()) + "\r\n\r\n");
  EXPECT_EQ(StatusOf(client.Response()), 100);
  client.Send(event);
  EXPECT_EQ(StatusOf(client.Response()), 201);
}

TEST(Session, DoesNotAskForABodyThatItWillRefuse) {
  HttpRig rig;
  EXPECT_EQ(StatusOf(rig.Ask("POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: text/plain\r\n"
                             "Expect: 100-continue\r\nContent-Length: 10\r\n\r\n")),
            415);
}

TEST(Session, ClosesAfterARefusedHeadAndReadsNothingBehindIt) {
  HttpRig rig;
  RawClient client(rig.port);
  client.Send(
      "POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
      "Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n" +
      Post(Raw(Insertion("smuggled", 0))));
  const std::string response = client.Response();
  EXPECT_EQ(StatusOf(response), 400);
  EXPECT_THAT(BodyOf(response), HasSubstr("two-framings"));
  EXPECT_TRUE(client.AtEnd());
  EXPECT_EQ(rig.EventsStored(), 0U);
}

TEST(Session, RefusesAHeadThatNeverEnds) {
  HttpRig rig;
  EXPECT_EQ(StatusOf(rig.Ask("GET /" + std::string(9000, 'a'))), 431);
}

TEST(Session, RefusesAChunkedBodyBeyondTheLimit) {
  intake::ListenerOptions options;
  options.connection.body_bytes_max = 100;
  HttpRig rig(options);
  EXPECT_EQ(
      StatusOf(rig.Ask("POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
                       "Transfer-Encoding: chunked\r\n\r\nC8\r\n" +
                       std::string(200, ' ') + "\r\n")),
      413);
}

TEST(Session, RefusesBrokenChunks) {
  HttpRig rig;
  EXPECT_EQ(
      StatusOf(rig.Ask("POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
                       "Transfer-Encoding: chunked\r\n\r\nZZ\r\n")),
      400);
}

TEST(Session, ASlowHeadASlowBodyAndAnIdleConnectionAreClosed) {
  HttpRig rig(ShortDeadlines());
  for (const std::string& begun :
       {std::string("GET /livez HT"), Post(Raw(Insertion("a", 0))).substr(0, 200), std::string()}) {
    RawClient client(rig.port);
    if (!begun.empty()) client.Send(begun);
    EXPECT_TRUE(client.AtEnd()) << begun;
  }
  EXPECT_EQ(rig.EventsStored(), 0U);
}

TEST(Session, BeyondTheConnectionCapThereIs503WithRetryAfter) {
  intake::ListenerOptions options;
  options.connections_max = 1;
  HttpRig rig(options);
  RawClient first(rig.port);
  first.Send(Get("/livez"));
  EXPECT_EQ(StatusOf(first.Response()), 200);
  RawClient second(rig.port);
  const std::string response = second.Response();
  EXPECT_EQ(StatusOf(response), 503);
  EXPECT_THAT(response, HasSubstr("\r\nRetry-After: "));
}

TEST(Session, HeadRequestsGetNoBody) {
  HttpRig rig;
  RawClient client(rig.port);
  client.Send("HEAD /livez HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n");
  const std::string response = client.Response();  // ends with the connection: no body comes
  EXPECT_EQ(StatusOf(response), 200);
  EXPECT_EQ(BodyOf(response), "");
}

TEST(Session, AMethodThatAPathDoesNotKnowIsToldThoseItDoes) {
  HttpRig rig;
  const std::string response = rig.Ask(Get("/events"));
  EXPECT_EQ(StatusOf(response), 405);
  EXPECT_THAT(response, HasSubstr("\r\nAllow: POST\r\n"));
}

TEST(Session, WhileDrainingWhatIsInHandIsRefusedWith503AndIdleConnectionsEnd) {
  HttpRig rig;
  RawClient idle(rig.port);
  idle.Send(Get("/livez"));
  EXPECT_EQ(StatusOf(idle.Response()), 200);
  RawClient busy(rig.port);
  const std::string request = Post(Raw(Insertion("a", 0)));
  busy.Send(Get("/livez") + request.substr(0, 100));
  EXPECT_EQ(StatusOf(busy.Response()), 200);
  auto drained = rig.Drain();
  EXPECT_TRUE(idle.AtEnd());
  busy.Send(request.substr(100));
  const std::string response = busy.Response();
  EXPECT_EQ(StatusOf(response), 503);
  EXPECT_THAT(response, HasSubstr("\r\nRetry-After: "));
  EXPECT_TRUE(busy.AtEnd());
  EXPECT_EQ(drained.wait_for(std::chrono::seconds(20)), std::future_status::ready);
  EXPECT_EQ(rig.EventsStored(), 0U);
}

}  // namespace
}  // namespace dwell::test
