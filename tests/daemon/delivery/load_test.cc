// Loads in every style against scripted answers: what is sent, and what each bundle hears. FHIR R4
// http.html#transaction-response, #brules, #update, #ccreate.
#include "daemon/delivery/load.h"

#include <gmock/gmock.h>

#include "daemon/base/limits.h"
#include "tests/daemon/delivery/golden_bundles.h"

namespace dwell::delivery {
namespace {

using net::Exchange;
using testing::AllOf;
using testing::HasSubstr;

constexpr Instant kNow{std::chrono::hours(492'800)};
constexpr const char* kFhir = "application/fhir+json";
constexpr const char* kRefusal =
    R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"invalid"}]})";

Exchange Answer(int status, std::string body) {
  Exchange exchange;
  exchange.written = net::Written::kAll;
  exchange.status = status;
  exchange.content_type = kFhir;
  exchange.body = std::move(body);
  return exchange;
}

/// `statuses`, with an OperationOutcome at each that is no success.
Exchange Response(const char* type, const std::vector<int>& statuses) {
  std::string body = std::string(R"({"resourceType":"Bundle","type":")") + type + R"(","entry":[)";
  for (const int status : statuses) {
    if (body.back() == '}') body += ',';
    body += R"({"response":{"status":")" + std::to_string(status) + "\"";
    if (status >= 300) body += std::string(R"(,"outcome":)") + kRefusal;
    body += "}}";
  }
  return Answer(200, body + "]}");
}

class LoadTest : public testing::Test {
 protected:
  LoadTest() : golden_(GoldenBundles()) {}

  const GoldenBundle& Golden(const std::string& name) const {
    const auto found = std::ranges::find(golden_, name, &GoldenBundle::name);
    EXPECT_NE(found, golden_.end()) << name;
    return *found;
  }
  Parcel Of(const std::string& name) const {
    const GoldenBundle& golden = Golden(name);
    return {golden.body, {.entries = golden.entries, .attempts = 0}};
  }
  static WriteStyle Style(Interaction interaction, Identity identity = Identity::kUpdateAsCreate) {
    WriteStyle style;
    style.interaction = interaction;
    style.identity = identity;
    return style;
  }
  static std::vector<Course> Courses(const Load& load) {
    std::vector<Course> courses;
    for (const Verdict& verdict : load.verdicts()) courses.push_back(verdict.course);
    return courses;
  }

  std::vector<GoldenBundle> golden_;
};

TEST_F(LoadTest, TheDefaultStyleSendsTheStoredBytesThemselves) {
  const Parcel parcel = Of("removal/phlebitis");
  Load load(Style(Interaction::kTransaction), "/fhir", {parcel});
  const auto next = load.Next();
  ASSERT_TRUE(next.has_value());
  EXPECT_EQ(next->method, "POST");
  EXPECT_EQ(next->target, "/fhir");
  EXPECT_EQ(next->body.data(), parcel.body.data()) << "not even copied";
  EXPECT_EQ(next->fields, "Content-Type: application/fhir+json\r\nPrefer: return=minimal\r\n");
  load.Take(Response("transaction-response", std::vector<int>(parcel.sent.entries, 200)), kNow);
  EXPECT_FALSE(load.Next().has_value());
  EXPECT_EQ(Courses(load), std::vector{Course::kDone});
}

TEST_F(LoadTest, AStoredBundleThatIsNotOursIsHeldAndNeverSent) {
  const Parcel broken{"{}", {.entries = 2, .attempts = 0}};
  const Parcel good = Of("flush/easy");
  Load alone(Style(Interaction::kBatch), "/fhir", {broken});
  EXPECT_FALSE(alone.Next().has_value());
  EXPECT_EQ(Courses(alone), std::vector{Course::kHold});
  Load joined(Style(Interaction::kTransaction), "/fhir", {broken, good});
  ASSERT_TRUE(joined.Next().has_value());
  EXPECT_EQ(joined.Next()->body, good.body) << "the other goes without it";
  joined.Take(Response("transaction-response", std::vector<int>(good.sent.entries, 201)), kNow);
  EXPECT_EQ(Courses(joined), (std::vector{Course::kHold, Course::kDone}));
}

TEST_F(LoadTest, AJoinedTransactionIsDoneTogether) {
  const Parcel a = Of("removal/phlebitis"), b = Of("flush/easy");
  Load load(Style(Interaction::kTransaction), "/", {a, b});
  const std::size_t both = a.sent.entries + b.sent.entries;
  const auto entries =
      EntriesOf(load.Next()->body, Interaction::kTransaction, Identity::kUpdateAsCreate);
  EXPECT_EQ(entries.size(), both);
  load.Take(Response("transaction-response", std::vector<int>(both, 201)), kNow);
  EXPECT_EQ(load.entries(), both);
  EXPECT_EQ(Courses(load), (std::vector{Course::kDone, Course::kDone}));
}

TEST_F(LoadTest, WhatIsRefusedInCompanyGoesApartAndNobodyIsBlamed) {
  const Parcel a = Of("removal/phlebitis"), b = Of("flush/easy");
  struct Row {
    Exchange exchange;
    bool apart, too_large, uncertain;
    Course course;
  };
  Exchange lost = Answer(0, "");
  lost.failure = net::Failure::kTimeOut;
  Exchange closed;
  closed.failure = net::Failure::kConnect;
  const std::vector<Row> rows = {
      {Answer(422, kRefusal), true, false, false, Course::kWait},
      {Answer(400, kRefusal), true, false, false, Course::kWait},
      {Answer(409, kRefusal), true, false, false, Course::kWait},
      {Answer(412, kRefusal), true, false, false, Course::kWait},
      {Answer(500, kRefusal), true, false, false, Course::kWait},
      {Answer(413, kRefusal), true, true, false, Course::kWait},
      {Answer(202, ""), true, false, true, Course::kWait},
      {Response("transaction-response", {200}), true, false, true, Course::kWait},
      {Answer(503, kRefusal), false, false, false, Course::kAgain},
      {Answer(504, kRefusal), false, false, true, Course::kAgain},
      {Answer(401, kRefusal), false, false, false, Course::kPause},
      {lost, false, false, true, Course::kAgain},
      {closed, false, false, false, Course::kPause},
  };
  for (const Row& row : rows) {
    Load load(Style(Interaction::kTransaction), "/", {a, b});
    load.Take(row.exchange, kNow);
    for (const Verdict& verdict : load.verdicts()) {
      EXPECT_EQ(verdict.course, row.course) << row.exchange.status;
      EXPECT_EQ(verdict.apart, row.apart) << row.exchange.status;
      EXPECT_EQ(verdict.too_large, row.too_large) << row.exchange.status;
      EXPECT_EQ(verdict.uncertain, row.uncertain) << row.exchange.status;
    }
  }
}

TEST_F(LoadTest, ABatchSettlesEachBundleByItsOwnEntries) {
  const Parcel a = Of("flush/minimal"), b = Of("removal/phlebitis"), c = Of("flush/easy");
  Load load(Style(Interaction::kBatch), "/fhir", {a, b, c});
  EXPECT_THAT(std::string(load.Next()->body),
              testing::StartsWith(R"({"resourceType":"Bundle","type":"batch","entry":[)"));
  std::vector<int> statuses(a.sent.entries + b.sent.entries + c.sent.entries, 200);
  statuses[a.sent.entries + 1] = 422;  // the second of b
  load.Take(Response("batch-response", statuses), kNow);
  EXPECT_EQ(Courses(load), (std::vector{Course::kDone, Course::kHold, Course::kDone}));
  const Verdict& held = load.verdicts()[1];
  EXPECT_THAT(held.why, AllOf(testing::StartsWith("entry 2: the endpoint answered 422"),
                              HasSubstr("; " + std::to_string(b.sent.entries - 1) + " of " +
                                        std::to_string(b.sent.entries) + " entries were taken")));
  EXPECT_TRUE(held.uncertain) << "it is there in part";
  EXPECT_EQ(held.outcome, kRefusal);
}

TEST_F(LoadTest, TheWorstEntrySpeaksForItsBundle) {
  const Parcel parcel = Of("removal/phlebitis");
  ASSERT_GE(parcel.sent.entries, 4U);
  const auto course = [&](std::vector<int> statuses) {
    statuses.resize(parcel.sent.entries, 200);
    Load load(Style(Interaction::kBatch), "/", {parcel});
    load.Take(Response("batch-response", statuses), kNow);
    EXPECT_FALSE(load.verdicts().front().pauses) << "an entry does not speak for the endpoint";
    return Courses(load).front();
  };
  EXPECT_EQ(course({}), Course::kDone);
  EXPECT_EQ(course({201, 204}), Course::kDone);
  EXPECT_EQ(course({503}), Course::kAgain);
  EXPECT_EQ(course({503, 422}), Course::kHold);
  EXPECT_EQ(course({422, 503}), Course::kHold);
  EXPECT_EQ(course({401, 503}), Course::kPause);
  EXPECT_EQ(course({409}), Course::kAgain);
  EXPECT_EQ(course({202}), Course::kHold);
  EXPECT_EQ(course({302}), Course::kHold);
}

TEST_F(LoadTest, ABatchAloneIsCutIntoWhatTheEndpointTakes) {
  const Parcel parcel = Of("removal/phlebitis");
  const std::size_t all = parcel.sent.entries;
  WriteStyle style = Style(Interaction::kBatch);
  Load whole(style, "/", {parcel});
  whole.Take(Answer(413, kRefusal), kNow);
  EXPECT_TRUE(whole.verdicts().front().apart);
  EXPECT_TRUE(whole.verdicts().front().too_large);
  ASSERT_TRUE(Shrink(style, whole.entries()));
  ASSERT_EQ(style.entries_max, all / 2);

  Load cut(style, "/", {parcel});
  std::size_t requests = 0, sent = 0;
  for (; cut.Next(); ++requests) {
    const auto document = schemas::Document::Parse(cut.Next()->body);
    const std::size_t count = document->root().Find("entry")->size();
    EXPECT_LE(count, all / 2);
    sent += count;
    cut.Take(Response("batch-response", std::vector<int>(count, 200)), kNow);
  }
  EXPECT_EQ(sent, all);
  EXPECT_GE(requests, 2U);
  EXPECT_EQ(Courses(cut), std::vector{Course::kDone});

  style.entries_max = 1;
  Load smallest(style, "/", {parcel});
  smallest.Take(Answer(413, kRefusal), kNow);
  EXPECT_EQ(Courses(smallest), std::vector{Course::kHold});
}

TEST_F(LoadTest, WhatFailsInTheMiddleIsUncertainAndTheRestIsNotSent) {
  const Parcel parcel = Of("removal/phlebitis");
  WriteStyle style = Style(Interaction::kBatch);
  style.entries_max = 2;
  Load load(style, "/", {parcel});
  load.Take(Response("batch-response", {200, 200}), kNow);
  ASSERT_TRUE(load.Next().has_value());
  Exchange closed;
  closed.failure = net::Failure::kConnect;
  closed.error = "refused";
  load.Take(closed, kNow);
  EXPECT_FALSE(load.Next().has_value());
  const Verdict& verdict = load.verdicts().front();
  EXPECT_EQ(verdict.course, Course::kPause);
  EXPECT_TRUE(verdict.uncertain);
  EXPECT_FALSE(verdict.untouched) << "the peer has two entries of it";
  EXPECT_TRUE(verdict.pauses);
}

TEST_F(LoadTest, SingleInteractionsGoOneAfterTheOther) {
  const Parcel parcel = Of("removal/phlebitis");
  const auto entries = EntriesOf(parcel.body, Interaction::kSingle, Identity::kConditionalUpdate);
  Load load(Style(Interaction::kSingle, Identity::kConditionalUpdate), "/fhir", {parcel});
  for (const Entry& entry : entries) {
    const auto next = load.Next();
    ASSERT_TRUE(next.has_value());
    EXPECT_EQ(next->method, entry.method);
    EXPECT_EQ(next->target, "/fhir/" + entry.url);
    EXPECT_EQ(next->body, entry.resource);
    EXPECT_EQ(next->fields.find("If-None-Exist: _tag=") != std::string_view::npos,
              entry.type == "Provenance");
    load.Take(Answer(201, entry.resource), kNow);
  }
  EXPECT_FALSE(load.Next().has_value());
  EXPECT_EQ(Courses(load), std::vector{Course::kDone});
}

TEST_F(LoadTest, ASingleThatIsRefusedStopsItsBundle) {
  const Parcel parcel = Of("removal/phlebitis");
  Load load(Style(Interaction::kSingle), "/", {parcel});
  Exchange bare = Answer(200, "");
  bare.etag = "W/\"3\"";
  load.Take(bare, kNow);
  ASSERT_TRUE(load.Next().has_value());
  EXPECT_THAT(std::string(load.Next()->target), testing::StartsWith("/Procedure/dwell-"));
  load.Take(Answer(422, kRefusal), kNow);
  EXPECT_FALSE(load.Next().has_value());
  const Verdict& verdict = load.verdicts().front();
  EXPECT_EQ(verdict.course, Course::kHold);
  EXPECT_THAT(verdict.why, AllOf(testing::StartsWith("entry 2: "), HasSubstr("; 1 of ")));
}

TEST_F(LoadTest, ABundleOfNoAnswerIsNotDone) {
  const Parcel parcel = Of("flush/easy");
  for (const Interaction interaction :
       {Interaction::kTransaction, Interaction::kBatch, Interaction::kSingle}) {
    Load load(Style(interaction, Identity::kConditionalUpdate), "/", {parcel});
    Exchange lost;
    lost.written = net::Written::kAll;
    lost.failure = net::Failure::kBroken;
    load.Take(lost, kNow);
    EXPECT_EQ(Courses(load), std::vector{Course::kAgain});
    EXPECT_TRUE(load.verdicts().front().uncertain);
  }
}

}  // namespace
}  // namespace dwell::delivery
