// The practice endpoint keeps FHIR's rules, so that what it accepts says something.
#include <gmock/gmock.h>

#include "tests/endpoint/desk.h"

namespace practice {
namespace {

using testing::HasSubstr;

class EndpointTest : public testing::Test {
 protected:
  HttpResponse Ask(std::string_view method, std::string_view target, std::string_view body = {},
                   std::string_view if_none_exist = {}, std::string_view if_match = {}) {
    HttpRequest request;
    request.method = method;
    request.target = target;
    request.body = body;
    request.content_type = "application/fhir+json";
    request.if_none_exist = if_none_exist;
    request.if_match = if_match;
    return desk_.Answer(request);
  }
  static std::string Device(const char* id, const char* value) {
    const std::string own_id = *id == '\0' ? "" : std::string(R"("id":")") + id + R"(",)";
    return R"({"resourceType":"Device",)" + own_id +
           R"("identifier":[{"system":"urn:lines","value":")" + value + R"("}]})";
  }
  static std::string Bundle(const std::string& entries) {
    return R"({"resourceType":"Bundle","type":"transaction","entry":[)" + entries + "]}";
  }
  static std::string Entry(const std::string& resource, const char* method, const char* url,
                           const char* more = "") {
    return R"({"resource":)" + resource + R"(,"request":{"method":")" + method + R"(","url":")" +
           url + "\"" + more + "}}";
  }
  Desk desk_{Keep::kHistory};
};

TEST_F(EndpointTest, PutCreatesThenUpdatesAndVersionsStayReadable) {
  HttpResponse response = Ask("PUT", "/fhir/Device/a", Device("a", "1"));
  EXPECT_EQ(response.status, 201);
  EXPECT_THAT(response.fields, HasSubstr("ETag: W/\"1\"\r\nLocation: /fhir/Device/a/_history/1"));
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a", Device("a", "2")).status, 200);
  EXPECT_THAT(Ask("GET", "/fhir/Device/a").body, HasSubstr(R"("value":"2")"));
  EXPECT_THAT(Ask("GET", "/fhir/Device/a/_history/1").body, HasSubstr(R"("value":"1")"));
  EXPECT_EQ(Ask("GET", "/fhir/Device/a/_history/3").status, 404);
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a", Device("a", "3"), {}, "W/\"1\"").status, 412);
  EXPECT_EQ(Ask("DELETE", "/fhir/Device/a").status, 204);
  EXPECT_EQ(Ask("GET", "/fhir/Device/a").status, 410);
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a", Device("a", "4")).status, 201);
}

TEST_F(EndpointTest, WhatItIsToldToForgetIsGoneAndWhatItIsToldToAlterKeepsItsVersion) {
  Ask("PUT", "/fhir/Device/a", Device("a", "1"));
  EXPECT_EQ(
      Ask("POST", "/_practice/alter?key=Device/a&from=%22value%22:%221%22&to=%22value%22:%222%22")
          .status,
      200);
  EXPECT_THAT(Ask("GET", "/fhir/Device/a").body, HasSubstr(R"("value":"2")"));
  EXPECT_EQ(desk_.VersionOf("Device/a"), 1U);
  EXPECT_EQ(Ask("POST", "/_practice/alter?key=Device/a&from=%22value%22:%221%22&to=x").status, 404);
  EXPECT_EQ(Ask("POST", "/_practice/forget?key=Device/a").status, 200);
  EXPECT_EQ(Ask("GET", "/fhir/Device/a").status, 404);
  EXPECT_EQ(Ask("POST", "/_practice/forget?key=Device/a").status, 404);
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a", Device("a", "1")).status, 201);
}

TEST_F(EndpointTest, IdsMustBeLegalAndEqualToTheUrls) {
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a", Device("b", "1")).status, 400);
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a", Device("", "1")).status, 400);
  EXPECT_EQ(Ask("PUT", "/fhir/Device/a_b", Device("a_b", "1")).status, 400);
  EXPECT_EQ(Ask("PUT", "/fhir/Procedure/a", Device("a", "1")).status, 400);
  EXPECT_EQ(Ask("POST", "/fhir/Device/a", Device("a", "1")).status, 400);
  EXPECT_EQ(desk_.counts().created, 0U);
}

TEST_F(EndpointTest, ConditionsGoByIdentifier) {
  EXPECT_EQ(Ask("POST", "/fhir/Device", Device("", "1"), "identifier=urn:lines|1").status, 201);
  EXPECT_EQ(Ask("POST", "/fhir/Device", Device("", "1"), "identifier=urn:lines%7C1").status, 200);
  EXPECT_EQ(Ask("PUT", "/fhir/Device?identifier=urn:lines%7C1", Device("", "1")).status, 200);
  EXPECT_EQ(Ask("PUT", "/fhir/Device?identifier=urn:lines%7C2", Device("own", "2")).status, 201);
  EXPECT_EQ(Ask("GET", "/fhir/Device/own").status, 200);
  EXPECT_EQ(Ask("POST", "/fhir/Device", Device("", "1")).status, 201) << "unconditional: a second";
  EXPECT_EQ(Ask("PUT", "/fhir/Device?identifier=urn:lines%7C1", Device("", "1")).status, 412);
  EXPECT_THAT(Ask("GET", "/fhir/Device?identifier=urn:lines%7C1").body, HasSubstr(R"("total":2)"));
  EXPECT_THAT(Ask("GET", "/fhir/Device?identifier=2").body, HasSubstr(R"("total":1)"));
  EXPECT_EQ(desk_.counts().unchanged, 1U);
}

TEST_F(EndpointTest, ASearchIsAnsweredAsItIsTold) {
  const char* const kActive =
      R"({"resourceType":"Patient","id":"p1","active":true,"gender":"other",)"
      R"("identifier":[{"system":"urn:n","value":"1"}]})";
  EXPECT_EQ(Ask("PUT", "/fhir/Patient/p1", kActive).status, 201);
  EXPECT_EQ(Ask("PUT", "/fhir/Patient/p2", R"({"resourceType":"Patient","id":"p2"})").status, 201);
  const auto search = [&](const char* more) {
    return Ask("GET", std::string("/fhir/Patient?identifier=urn%3An%7C1") + more).body;
  };
  EXPECT_THAT(search(""), testing::AllOf(HasSubstr(R"("total":1)"), HasSubstr("gender")));
  EXPECT_THAT(search("&_elements=identifier,active"),
              testing::AllOf(HasSubstr(R"("id":"p1")"), HasSubstr(R"("active":true)"),
                             HasSubstr("identifier"), testing::Not(HasSubstr("gender"))));
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"searching":"miscounts"})").status, 200);
  EXPECT_THAT(search(""), HasSubstr(R"("total":2)"));
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"searching":"ignores"})").status, 200);
  EXPECT_THAT(search("&_count=1"), testing::AllOf(HasSubstr(R"("total":2)"), HasSubstr("next")));
  EXPECT_THAT(search("&_count=2"),
              testing::AllOf(HasSubstr("p2"), testing::Not(HasSubstr("next"))));
  EXPECT_EQ(desk_.counts().searches, 5U);
}

TEST_F(EndpointTest, ATransactionIsAllOrNothing) {
  const std::string good = Entry(Device("a", "1"), "PUT", "Device/a");
  const std::string bad = Entry(Device("b", "1"), "PUT", "Device/c");
  HttpResponse response = Ask("POST", "/fhir", Bundle(good + "," + bad));
  EXPECT_EQ(response.status, 400);
  EXPECT_THAT(response.body, HasSubstr("OperationOutcome"));
  EXPECT_EQ(Ask("GET", "/fhir/Device/a").status, 404);
  response = Ask("POST", "/fhir", Bundle(good));
  EXPECT_EQ(response.status, 200);
  EXPECT_THAT(response.body, HasSubstr(R"("type":"transaction-response")"));
  EXPECT_THAT(response.body,
              HasSubstr(R"("status":"201 Created","location":"Device/a/_history/1")"));
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(good + "," + good)).status, 400) << "same resource twice";
  EXPECT_EQ(Ask("POST", "/fhir", "{").status, 400);
  EXPECT_EQ(Ask("POST", "/fhir", Device("a", "1")).status, 400);
}

TEST_F(EndpointTest, UrnReferencesAreResolvedInsideTheBundle) {
  const std::string device =
      R"({"fullUrl":"urn:uuid:1",)" + Entry(Device("a", "1"), "PUT", "Device/a").substr(1);
  const auto note = [](const char* target) {
    return Entry(std::string(R"({"resourceType":"Observation","id":"o","valueDecimal":2.50,)"
                             R"("device":{"reference":")") +
                     target + R"("}})",
                 "PUT", "Observation/o");
  };
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(note("urn:uuid:1"))).status, 400);
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(note("urn:uuid:1") + "," + device)).status, 200);
  const std::string stored = Ask("GET", "/fhir/Observation/o").body;
  EXPECT_THAT(stored, HasSubstr(R"("reference":"Device/a")"));
  EXPECT_THAT(stored, HasSubstr(R"("valueDecimal":2.50)")) << "numbers keep their text";
}

TEST_F(EndpointTest, AReferentialEndpointDemandsTheTarget) {
  const std::string note =
      Entry(R"({"resourceType":"Observation","id":"o","device":{"reference":"Device/a"}})", "PUT",
            "Observation/o");
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"referential":true})").status, 200);
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(note)).status, 409);
  EXPECT_EQ(
      Ask("POST", "/fhir", Bundle(note + "," + Entry(Device("a", "1"), "PUT", "Device/a"))).status,
      200);
}

TEST_F(EndpointTest, LimitsAreKept) {
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"limit_entries":1,"limit_bytes":400})").status, 200);
  const std::string one = Entry(Device("a", "1"), "PUT", "Device/a");
  const std::string two = Entry(Device("b", "1"), "PUT", "Device/b");
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(one)).status, 200);
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(one + "," + two)).status, 413);
  EXPECT_EQ(Ask("POST", "/fhir", Bundle(one) + std::string(400, ' ')).status, 413);
}

TEST_F(EndpointTest, ItSaysWhatItCanAndWhatItSaw) {
  EXPECT_THAT(Ask("GET", "/fhir/metadata").body, HasSubstr(R"("fhirVersion":"4.0.1")"));
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"telling":"r5"})").status, 200);
  EXPECT_THAT(Ask("GET", "/fhir/metadata").body, HasSubstr(R"("fhirVersion":"5.0.0")"));
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"telling":"missing"})").status, 200);
  EXPECT_EQ(Ask("GET", "/fhir/metadata").status, 404);
  const std::string body = Bundle(Entry(Device("a", "1"), "PUT", "Device/a"));
  Ask("POST", "/fhir", body);
  Ask("POST", "/fhir", body);
  EXPECT_THAT(Ask("GET", "/_practice/counts").body,
              testing::AllOf(HasSubstr(R"("transactions":2)"), HasSubstr(R"("repeats":1)"),
                             HasSubstr(R"("versions_max":2)")));
  EXPECT_THAT(Ask("GET", "/_practice/dump?type=Device").body, testing::EndsWith("}\n"));
  EXPECT_EQ(Ask("GET", "/_practice/dump?type=Task").body, "");
  EXPECT_EQ(Ask("POST", "/_practice/mood", R"({"mood":"sulk"})").status, 400);
}

TEST_F(EndpointTest, AMoodHoldsForItsNumberOfFittingRequests) {
  Ask("POST", "/_practice/mood", R"({"mood":"refuse","next":2,"containing":"poison"})");
  HttpRequest request;
  request.target = "/fhir";
  request.body = "fine";
  EXPECT_EQ(desk_.MoodFor(request).kind, Mood::Kind::kNone);
  request.body = "some poison";
  EXPECT_EQ(desk_.MoodFor(request).kind, Mood::Kind::kRefuse);
  EXPECT_EQ(desk_.MoodFor(request).kind, Mood::Kind::kRefuse);
  EXPECT_EQ(desk_.MoodFor(request).kind, Mood::Kind::kNone);
}

TEST_F(EndpointTest, TwoInFlightThatWriteTheSameResourceAreCounted) {
  const std::string body = Bundle(Entry(Device("a", "1"), "PUT", "Device/a"));
  HttpRequest request;
  request.body = body;
  const auto first = desk_.Enter(request);
  EXPECT_EQ(desk_.counts().overlaps, 0U);
  const auto second = desk_.Enter(request);
  EXPECT_EQ(desk_.counts().overlaps, 1U);
  desk_.Leave(first);
  desk_.Leave(second);
  desk_.Leave(desk_.Enter(request));
  EXPECT_EQ(desk_.counts().overlaps, 1U);
}

}  // namespace
}  // namespace practice
