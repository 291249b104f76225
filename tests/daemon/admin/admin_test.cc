// The admin socket, asked by raw bytes: every request of its protocol, and what is no request.
#include "tests/daemon/admin/admin_rig.h"

namespace dwell::test {
namespace {

using testing::HasSubstr;

std::string SubmitRequest(const std::string& format, const std::string& body) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "submit");
  request.Member("format", format);
  request.Member("body", body);
  request.EndObject();
  return request.Take();
}

TEST_F(AdminTest, TheSocketIsForOwnerAndGroupOnly) {
  struct stat status {};
  ASSERT_EQ(::stat(path_.c_str(), &status), 0);
  EXPECT_EQ(status.st_mode & 0777, 0660U);
}

TEST_F(AdminTest, EventsGoTheSameWayAsOverHttp) {
  const std::string event = Raw(Insertion("a", 0));
  EXPECT_THAT(Ask(SubmitRequest("json", event)), HasSubstr("{\"line\":1,\"status\":201,"));
  EXPECT_THAT(Ask(SubmitRequest("json", event)), HasSubstr("\"status\":200,"));
  const std::string batch = Ask(SubmitRequest("ndjson", Raw(SiteCheck("b", 1)) + "\n{}\n"));
  EXPECT_THAT(batch, HasSubstr("{\"line\":1,\"status\":201,"));
  EXPECT_THAT(batch, HasSubstr("{\"line\":2,\"status\":422,\"outcome\":{"));
  EXPECT_THAT(batch, testing::EndsWith(kEnd));
  EXPECT_EQ(rig_.EventsStored(), 2U);
}

TEST_F(AdminTest, ListingsTellTheQueueTheLinesAndAnEventsStory) {
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr("\"events\":1,\"lines\":1,"));
  EXPECT_THAT(Ask(R"({"request":"status"})"),
              HasSubstr("\"caught_up_to\":\"2026-03-02T09:00:00Z\""));
  EXPECT_THAT(Ask(R"({"request":"queue"})"), HasSubstr("\"event\":\"a\",\"attempts\":0"));
  EXPECT_THAT(Ask(R"({"request":"lines"})"), HasSubstr("\"line_id\":\"line-1\""));
  EXPECT_THAT(Ask(R"({"request":"show","id":"a"})"), HasSubstr("\"kind\":\"insertion\""));
  EXPECT_THAT(Ask(R"({"request":"show","id":"a","source":"ward-tablets"})"),
              HasSubstr("\"kind\":\"insertion\""));
}

TEST_F(AdminTest, ASourceThatIsNotHeardIsSilentInTheStatus) {
  services_.silent_after = std::chrono::minutes(15);
  rig_.OnNet([this] {
    opened_ = Error();  // the socket is free for the next
    opened_ = Open();
  });
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("silent_sources":[],)"));
  rig_.clock.Advance(std::chrono::minutes(16));
  EXPECT_THAT(Ask(R"({"request":"status"})"),
              HasSubstr(R"("silent_sources":[{"source":"ward-tablets","last_event_at":")"));
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("expected_within_min":15}])"));
  Ask(SubmitRequest("json", Raw(SiteCheck("b", 1))));
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("silent_sources":[],)"));
}

TEST_F(AdminTest, ASourceOfWhichNobodyCanSayIsCounted) {
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  rig_.clock.Advance(std::chrono::hours(100));
  EXPECT_THAT(Ask(R"({"request":"status"})"),
              HasSubstr(R"("silent_sources":[],"sources_not_judged":1)"));
}

TEST_F(AdminTest, UnknownCodesOfEventsAreListedUntilAMapKnowsThem) {
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("unknown_codes":[])"));
  Sketch check = SiteCheck("b", 0);
  check.members += R"(,"action":["left-over"])";
  Ask(SubmitRequest("json", Raw(check)));
  EXPECT_THAT(Ask(R"({"request":"status"})"),
              HasSubstr(R"("unknown_codes":[{"group":"action","code":"left-over","events":1,)"));
  auto later = codes::CodeMap::LoadBundled(
      codes::CodeMap::Edition::kFree,
      codes::File{"site.json",
                  R"({"resourceType":"ConceptMap","group":[{"target":"urn:x","source":
                      "https://dwelld.example/fhir/CodeSystem/line-care","element":[
                      {"code":"left-over","display":"left over","target":[
                      {"code":"1","equivalence":"equal"}]}]}]})"});
  ASSERT_TRUE(later.has_value()) << later.error().message();
  rig_.OnNet([&] {
    opened_ = Error();
    Know(*later);
    opened_ = Open();
  });
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("unknown_codes":[])"));
  rig_.OnNet([this] { opened_ = Error(); });
}

TEST_F(AdminTest, DoubtfulIdentifiersAreCountedOncePerEventAndNeverByTheirValue) {
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("doubtful_identifiers":[])"));
  const std::string nhs = R"("system":"https://fhir.nhs.uk/Id/nhs-number","value":"9990000018")";
  const std::string cpr = R"("system":"urn:oid:1.2.208.176.1.2","value":)";
  std::string event = Raw(Insertion("a", 0));
  event.replace(event.find(nhs), nhs.size(),
                cpr + R"("2110625628","second":{)" + cpr + R"("0102030405"})");
  const std::string answer = Ask(SubmitRequest("json", event));
  EXPECT_THAT(answer, HasSubstr(R"("severity":"warning")"));
  EXPECT_THAT(Ask(SubmitRequest("json", event)), HasSubstr(R"("status":200)"));
  const std::string status = Ask(R"({"request":"status"})");
  EXPECT_THAT(status, HasSubstr(R"("doubtful_identifiers":[{"source":"ward-tablets",)"
                                R"("system":"urn:oid:1.2.208.176.1.2","events":1,"first_seen":")"));
  EXPECT_EQ(status.find("2110625628"), std::string::npos);
  EXPECT_EQ(status.find("0102030405"), std::string::npos);
}

TEST_F(AdminTest, TheStatusTellsTheSizeOfTheFileAndTheLastCleanUp) {
  const std::string status = Ask(R"({"request":"status"})");
  EXPECT_THAT(status, HasSubstr(R"("file":{"bytes":)"));
  EXPECT_EQ(status.find(R"("file":{"bytes":0)"), std::string::npos);
  EXPECT_THAT(
      status,
      HasSubstr(R"("clean_up":{"at":")" + FormatInstant(Hour(1)) +
                R"(","bodies_removed":7,"lines_no_longer_kept":3,"events_no_longer_kept":30,)"
                R"("bytes_given_back":16384})"));
}

TEST_F(AdminTest, AnIdThatSeveralSourcesUseIsShownForEachAndTheSourceIsAskedFor) {
  const std::string event = Raw(Insertion("a", 0));
  std::string other = event;
  other.replace(other.find("ward-tablets"), 12, "ward-laptops");
  Ask(SubmitRequest("ndjson", event + "\n" + other + "\n" + Raw(SiteCheck("b", 1)) + "\n"));
  const std::string answer = Ask(R"({"request":"show","id":"a"})");
  EXPECT_THAT(answer, HasSubstr("\"source\":\"ward-laptops\""));
  EXPECT_THAT(answer, HasSubstr("\"source\":\"ward-tablets\""));
  EXPECT_THAT(answer, HasSubstr("\"error\":\"several sources use this id"));
  EXPECT_THAT(Ask(R"({"request":"show","id":"b"})"), testing::EndsWith(kEnd));
}

TEST_F(AdminTest, AListingLongerThanAPageIsWhole) {
  std::string batch;
  for (int i = 0; i < 1000; ++i) {
    const std::string number = std::to_string(i);
    batch += Raw(Insertion("e" + number, 0, "line-" + number)) + "\n";
  }
  Ask(SubmitRequest("ndjson", batch));
  const std::string queue = Ask(R"({"request":"queue"})");
  EXPECT_EQ(std::count(queue.begin(), queue.end(), '\n'), 1001);
}

TEST_F(AdminTest, ADeliveryOnHoldIsReleasedAndItsStoryTellsOperatorsByWhomAndWhy) {
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  Refuse();
  EXPECT_THAT(Ask(R"({"request":"release","target":"a","by":"op-3","why":"endpoint mended"})"),
              HasSubstr(R"({"delivery":1,"state":"ready","decision":"released"})"));
  for (const char* request : {R"({"request":"show","id":"a"})", R"({"request":"queue"})"}) {
    EXPECT_THAT(Ask(request), HasSubstr(R"("by":"op-3","why":"endpoint mended","was":"refused")"));
  }
  const std::string told = rig_.Ask(Get("/events/a?source=ward-tablets"));
  EXPECT_THAT(told, HasSubstr(R"("decision":"released")"));
  EXPECT_EQ(told.find("op-3"), std::string::npos) << "wards are not told who decided";
  EXPECT_EQ(told.find("endpoint mended"), std::string::npos);
}

TEST_F(AdminTest, ACancelledDeliveryLeavesTheQueueAndNamesWhatItHeld) {
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  Refuse();
  const std::string answer = Ask(R"({"request":"cancel","target":"1","by":"op-3","why":"twice"})");
  EXPECT_THAT(answer, HasSubstr(R"("decision":"cancelled","not_issued":[")"));
  EXPECT_THAT(answer, HasSubstr("Device/dwell-"));
  EXPECT_EQ(Ask(R"({"request":"queue"})"), kEnd);
  EXPECT_THAT(Ask(R"({"request":"cancel","target":"1","by":"op-3","why":"twice"})"),
              HasSubstr(R"({"delivery":1,"refusal":"it is cancelled; only what is on hold)"));
}

TEST_F(AdminTest, AllOfAReasonAreReleasedPageAfterPage) {
  std::string batch;
  for (std::size_t i = 0; i < limits::kDecisionsMax + 5; ++i) {
    const std::string number = std::to_string(i);
    batch += Raw(Insertion("e" + number, 0, "line-" + number)) + "\n";
  }
  Ask(SubmitRequest("ndjson", batch));
  Refuse();
  const std::string answer =
      Ask(R"({"request":"release","all_of":"refused","by":"op-3","why":"mended"})");
  EXPECT_EQ(std::count(answer.begin(), answer.end(), '\n'),
            static_cast<std::ptrdiff_t>(limits::kDecisionsMax) + 6);
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("on-hold":0)"));
}

TEST_F(AdminTest, LinesDerivedAgainAreToldThenSentWithWhoAndWhy) {
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  Ask(SubmitRequest("json", Raw(Flush("b", 1))));
  EXPECT_THAT(Ask(R"({"request":"remap","all":true})"),
              HasSubstr(R"({"sums":{"lines":1,"differ":0,"same":0,"sent":0,)"));
  const auto later = codes::CodeMap::LoadBundled(
      codes::CodeMap::Edition::kFree,
      codes::File{"site.json",
                  R"({"resourceType":"ConceptMap","group":[{"target":"urn:x","source":
                      "https://dwelld.example/fhir/CodeSystem/line-care","element":[
                      {"code":"sodium-chloride-0.9","target":[
                      {"code":"X1","display":"new words","equivalence":"equivalent"}]}]}]})"});
  ASSERT_TRUE(later.has_value()) << later.error().message();
  ledger::Rules rules = Shelf::Get().Rules();
  rules.fhir.site_namespace = "https://fernhill.example/dwelld";
  rules.fhir.test_data = false;
  rules.fhir.codes = &*later;
  ledger::Ledger changed(rig_.writer(), rig_.clock, rules);
  rig_.OnNet([&] {
    opened_ = Error();
    services_.ledger = &changed;
    opened_ = Open();
  });
  const std::string looked = Ask(R"({"request":"remap","ward":"alder"})");
  EXPECT_THAT(looked, HasSubstr(R"({"source":"ward-tablets","line_id":"line-1","ward":"alder",)"));
  EXPECT_THAT(looked, HasSubstr(R"("role":"flush-record","state":"differs","changes":[{"at":"/)"));
  EXPECT_THAT(looked, HasSubstr(R"("after":"X1")"));
  EXPECT_THAT(looked, HasSubstr(R"("same":)"));
  EXPECT_THAT(looked, HasSubstr(R"({"looked_at":1,"of":1})"));
  EXPECT_THAT(looked, HasSubstr(R"("sent":0,)"));
  const char* send = R"({"request":"remap","all":true,"send":true,"by":"op-3","why":"new map"})";
  EXPECT_THAT(Ask(send), HasSubstr(R"("waiting":2,"on_hold":0,"delivery":3})"));
  const std::string queue = Ask(R"({"request":"queue"})");
  EXPECT_THAT(queue, HasSubstr(R"([{"delivery":3,"decision":"derived-again",)"));
  EXPECT_THAT(queue, HasSubstr(R"("by":"op-3","why":"new map")"));
  EXPECT_THAT(Ask(send), HasSubstr(R"("differ":0,"same":0,"sent":0,)"));
  rig_.OnNet([this] { opened_ = Error(); });
}

TEST_F(AdminTest, DerivingAgainWantsLinesNamedAndToSendAlsoWhoAndWhy) {
  for (const char* request :
       {R"({"request":"remap"})", R"({"request":"remap","all":true,"ward":"alder"})",
        R"({"request":"remap","all":"yes"})", R"({"request":"remap","all":true,"send":true})",
        R"({"request":"remap","all":true,"send":true,"by":"op-3"})",
        R"({"request":"remap","all":true,"send":true,"by":"op-3","why":"a\u001bb"})"}) {
    EXPECT_THAT(Ask(request), testing::StartsWith(R"({"end":true,"error":")")) << request;
  }
}

struct OrderRow {
  const char* members;  ///< of the request
  const char* error;    ///< what it must say
};

TEST_F(AdminTest, AnOrderWithoutWhoOrWhyOrWithTextThatSteersTerminalsIsRefused) {
  Ask(SubmitRequest("json", Raw(Insertion("a", 0))));
  Refuse();
  const std::string long_name(limits::kDecidedByBytesMax + 1, 'x');
  const std::string too_long = R"("target":"1","why":"y","by":")" + long_name + "\"";
  for (const OrderRow& row : {
           OrderRow{R"("target":"1","why":"y")", "who decides (--by) is missing"},
           OrderRow{R"("target":"1","why":"y","by":"  ")", "who decides (--by) is missing"},
           OrderRow{R"("target":"1","by":"op-3")", "why (--why) is missing"},
           OrderRow{R"("target":"1","by":3,"why":"y")", "who decides (--by) is missing"},
           OrderRow{too_long.c_str(), "who decides (--by) is longer than 64 bytes"},
           OrderRow{R"("target":"1","by":"op\n3","why":"y")", "has control characters"},
           OrderRow{R"("target":"1","by":"op-3","why":"\u009b2J")", "has control characters"},
           OrderRow{R"("target":"1","by":"op-3","why":"\u202ey")", "has control characters"},
           OrderRow{R"("target":"1","by":"op-3","why":"\u2067y")", "has control characters"},
           OrderRow{R"("by":"op-3","why":"y")", "is expected"},
       }) {
    const std::string rest = std::string(",") + row.members + "}";
    for (const char* request : {"release", "cancel"}) {
      const std::string answer = Ask(std::string(R"({"request":")") + request + "\"" + rest);
      EXPECT_THAT(answer, testing::StartsWith(R"({"end":true,"error":")")) << rest;
      EXPECT_THAT(answer, HasSubstr(row.error)) << rest;
    }
  }
  const char* both = R"("target":"1","all_of":"refused","by":"op-3","why":"y"})";
  EXPECT_THAT(Ask(std::string(R"({"request":"release",)") + both), HasSubstr("or else a reason"));
  EXPECT_THAT(Ask(std::string(R"({"request":"cancel",)") + both), HasSubstr("one by one"));
  EXPECT_THAT(Ask(R"({"request":"status"})"), HasSubstr(R"("on-hold":1)"));
  // Words of any language are words: nothing of them steers anything.
  EXPECT_THAT(Ask(R"({"request":"cancel","target":"1","by":"Sœur Ağça","why":"zurück – 取消"})"),
              HasSubstr("cancelled"));
}

TEST_F(AdminTest, WhatIsNoRequestIsToldSo) {
  EXPECT_THAT(Ask("status"), HasSubstr("\"error\":\"a JSON object"));
  EXPECT_THAT(Ask(R"({"request":"dance"})"), HasSubstr("\"error\":\"one of the requests"));
  EXPECT_THAT(Ask(R"({"request":"show","id":"z"})"), HasSubstr("\"error\":\"no such event"));
}

TEST_F(AdminTest, ASocketInUseIsRefusedAndAnotherFileIsLeftUntouched) {
  Result<std::unique_ptr<admin::Admin>> second = Error();
  rig_.OnNet([&] { second = Open(); });
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().kind(), ErrorKind::kBusy);
  path_ = folder_ / "note.txt";
  WriteBytes(path_, "mine");
  rig_.OnNet([&] { second = Open(); });
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(ReadBytes(path_), "mine");
}

TEST_F(AdminTest, ASocketThatAKilledDaemonLeftIsTakenOver) {
  path_ = folder_ / "left.socket";
  const int left = ::socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  path_.copy(address.sun_path, sizeof address.sun_path - 1);
  ASSERT_EQ(::bind(left, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  ::close(left);
  rig_.OnNet([this] {
    auto second = Open();
    EXPECT_TRUE(second.has_value());
  });
}

}  // namespace
}  // namespace dwell::test
