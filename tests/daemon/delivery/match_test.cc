// What an answer to a search for a patient or an encounter means. Hazard: wrong patient, by a
// search that the server ignored, by a choice between several, or by a merge that we did not see.
// Outside: FHIR R4 search.html and bundle.html#searchset (shape, total, search.mode, next link),
// patient.html (active, link), encounter.html (status).
#include "daemon/delivery/match.h"

#include <gmock/gmock.h>

#include "daemon/base/limits.h"
#include "mapping/fhir/references.h"

namespace dwell::delivery {
namespace {

using net::Exchange;
using net::Failure;
using net::Written;
using std::chrono::hours;
using std::chrono::seconds;
using testing::HasSubstr;

constexpr Instant kNow{hours(492'800)};
constexpr const char* kFhir = "application/fhir+json; charset=utf-8";
constexpr const char* kSystem = "https://fhir.nhs.uk/Id/nhs-number";
const std::string kPatient = fhir::ConditionalReference("Patient", kSystem, "9990000018");
const std::string kEncounter = fhir::ConditionalReference("Encounter", "urn:visits", "V/1");

std::string Resource(const char* type, const char* id, const char* value, const char* more = "",
                     const char* system = kSystem) {
  return std::string(R"({"resourceType":")") + type + R"(","id":")" + id +
         R"(","identifier":[{"system":"urn:other","value":"7"},{"system":")" + system +
         R"(","value":")" + value + R"("}])" + more + "}";
}

std::string Patient(const char* id, const char* more = "") {
  return Resource("Patient", id, "9990000018", more);
}

std::string Entry(const std::string& resource, const char* mode = R"(,"search":{"mode":"match"})") {
  return R"({"fullUrl":"https://h.example/fhir/x","resource":)" + resource + mode + "}";
}

std::string Set(const std::vector<std::string>& entries, const char* more = "") {
  std::string body = std::string(R"({"resourceType":"Bundle","type":"searchset")") + more;
  if (!entries.empty()) {
    body += R"(,"entry":[)";
    for (const std::string& entry : entries) body += (body.back() == '[' ? "" : ",") + entry;
    body += "]";
  }
  return body + "}";
}

Exchange Answer(int status, const char* content_type, std::string body) {
  Exchange exchange;
  exchange.written = Written::kAll;
  exchange.status = status;
  exchange.content_type = content_type;
  exchange.body = std::move(body);
  return exchange;
}

constexpr const char* kTotal1 = R"(,"total":1)";
constexpr const char* kNext = R"(,"link":[{"relation":"self","url":"a"},{"relation":"next"}])";

TEST(Match, ExactlyOneInForceWithTheIdentifierIsFoundAndNothingElse) {
  const std::string one = Entry(Patient("p1"));
  const std::string warning =
      R"({"resource":{"resourceType":"OperationOutcome","issue":[{"severity":"warning"}]},)"
      R"("search":{"mode":"outcome"}})";
  const std::string error =
      R"({"resource":{"resourceType":"OperationOutcome","issue":[{"severity":"error"}]},)"
      R"("search":{"mode":"outcome"}})";
  const std::string include = R"(,"search":{"mode":"include"})";
  struct Row {
    const char* name;
    std::string body;
    Finding finding;
  };
  const std::vector<Row> rows = {
      {"one", Set({one}, kTotal1), Finding::kOne},
      {"no total", Set({one}), Finding::kOne},
      {"no mode", Set({Entry(Patient("p1"), "")}, kTotal1), Finding::kOne},
      {"active", Set({Entry(Patient("p1", R"(,"active":true)"))}, kTotal1), Finding::kOne},
      {"replaces another", Set({Entry(Patient("p1", R"(,"link":[{"type":"replaces"}])"))}),
       Finding::kOne},
      {"something included beside it",
       Set({one, Entry(Resource("Organization", "o", "1"), include.c_str())}, kTotal1),
       Finding::kOne},
      {"a warning beside it", Set({one, warning}, kTotal1), Finding::kOne},
      {"an id of 64 characters", Set({Entry(Patient(std::string(64, 'a').c_str()))}),
       Finding::kOne},

      {"none", Set({}, R"(,"total":0)"), Finding::kNone},
      {"none, no total", Set({}), Finding::kNone},
      {"none, with a warning", Set({warning}), Finding::kNone},
      {"only an included one", Set({Entry(Patient("p1"), include.c_str())}, R"(,"total":0)"),
       Finding::kNone},

      {"two", Set({one, Entry(Patient("p2"))}, R"(,"total":2)"), Finding::kSeveral},
      {"the same twice", Set({one, one}, R"(,"total":2)"), Finding::kSeveral},
      {"two, one without mode", Set({one, Entry(Patient("p2"), "")}), Finding::kSeveral},
      {"two, one of them merged", Set({one, Entry(Patient("p2", R"(,"active":false)"))}),
       Finding::kSeveral},
      {"one shown, two counted", Set({one}, R"(,"total":2)"), Finding::kSeveral},
      {"one and another page", Set({one}, kNext), Finding::kSeveral},
      {"total 1 and another page", Set({one}, R"(,"total":1,"link":[{"relation":"next"}])"),
       Finding::kSeveral},

      {"another number", Set({Entry(Resource("Patient", "p1", "9990000026"))}, kTotal1),
       Finding::kIgnored},
      {"the number in another system",
       Set({Entry(Resource("Patient", "p1", "9990000018", "", "urn:mrn"))}, kTotal1),
       Finding::kIgnored},
      {"the number begins alike", Set({Entry(Resource("Patient", "p1", "99900000189"))}),
       Finding::kIgnored},
      {"no identifier shown", Set({Entry(R"({"resourceType":"Patient","id":"p1"})")}, kTotal1),
       Finding::kIgnored},
      {"one of two is another's", Set({one, Entry(Resource("Patient", "p2", "1"))}),
       Finding::kIgnored},
      {"another type", Set({Entry(Resource("Person", "p1", "9990000018"))}, kTotal1),
       Finding::kIgnored},
      {"no resource", Set({R"({"search":{"mode":"match"}})"}, kTotal1), Finding::kIgnored},
      {"an entry that is none", Set({"7"}, kTotal1), Finding::kIgnored},

      {"one shown, none counted", Set({one}, R"(,"total":0)"), Finding::kDisagrees},
      {"none shown, one counted", Set({}, kTotal1), Finding::kDisagrees},
      {"none shown, another page", Set({}, kNext), Finding::kDisagrees},

      {"merged",
       Set({Entry(Patient("p1", R"(,"link":[{"type":"seealso"},{"type":"replaced-by"}])"))}),
       Finding::kReplaced},
      {"merged and inactive",
       Set({Entry(Patient("p1", R"(,"active":false,"link":[{"type":"replaced-by"}])"))}),
       Finding::kReplaced},
      {"inactive", Set({Entry(Patient("p1", R"(,"active":false)"))}), Finding::kInactive},
      {"active is no boolean", Set({Entry(Patient("p1", R"(,"active":"true")"))}),
       Finding::kInactive},
      {"an error beside it", Set({one, error}, kTotal1), Finding::kPartial},
      {"an error and nothing", Set({error}), Finding::kPartial},

      {"no id", Set({Entry(Patient(""))}), Finding::kUnclear},
      {"an id that is none", Set({Entry(Patient("p1/../p2"))}), Finding::kUnclear},
      {"an id that breaks out", Set({Entry(Patient(R"(p\",\"x)"))}), Finding::kUnclear},
      {"an id of 65 characters", Set({Entry(Patient(std::string(65, 'a').c_str()))}),
       Finding::kUnclear},
      {"a total that is no count", Set({one}, R"(,"total":1.5)"), Finding::kUnclear},
      {"a total in words", Set({one}, R"(,"total":"1")"), Finding::kUnclear},
      {"a negative total", Set({one}, R"(,"total":-1)"), Finding::kUnclear},

      {"another Bundle", R"({"resourceType":"Bundle","type":"collection","total":0})",
       Finding::kOther},
      {"the patient itself", Patient("p1"), Finding::kOther},
      {"an OperationOutcome", R"({"resourceType":"OperationOutcome"})", Finding::kOther},
      {"an array", "[]", Finding::kOther},
      {"members of strange kinds",
       R"({"resourceType":"Bundle","type":"searchset","entry":7,"link":{},"total":0})",
       Finding::kNone},
      {"links and issues of strange kinds",
       Set({Entry(Patient("p1", R"(,"link":[7,null,{"type":[]}])"))}, R"(,"link":[7,"next"])"),
       Finding::kOne},
      {"cut off", one.substr(0, one.size() - 3), Finding::kNotJson},
      {"empty", "", Finding::kNotJson},
  };
  for (const Row& row : rows) {
    const Match match = ReadMatch(row.body, kPatient);
    EXPECT_EQ(match.finding, row.finding) << row.name;
    EXPECT_EQ(match.found.literal.empty(), row.finding != Finding::kOne) << row.name;
  }
  EXPECT_EQ(ReadMatch(rows[0].body, kPatient).found.literal, "Patient/p1");
}

TEST(Match, AnEncounterSaysWhoseItIs) {
  const auto body = [](const std::string& more) {
    return Set({Entry(Resource("Encounter", "e1", "V/1", more.c_str(), "urn:visits"))});
  };
  EXPECT_EQ(ReadMatch(body(""), kEncounter).found.literal, "Encounter/e1");
  EXPECT_EQ(ReadMatch(body(R"(,"status":"entered-in-error")"), kEncounter).finding,
            Finding::kEnteredWrong);
  const std::vector<std::pair<std::string, std::string>> rows = {
      {"Patient/p1", "Patient/p1"},
      {"https://h.example/fhir/Patient/p1", "Patient/p1"},
      {"Patient/p1/_history/4", "Patient/p1"},
      {"Group/g1", ""},
      {"XPatient/p1", ""},
      {"urn:uuid:6e0c5d5c-0d6f-4f5e-9d53-6a1c5e8f0a11", ""},
  };
  for (const auto& [reference, subject] : rows) {
    const std::string more = R"(,"subject":{"reference":")" + reference + R"("})";
    EXPECT_EQ(ReadMatch(body(more), kEncounter).found.subject, subject) << reference;
  }
  EXPECT_EQ(ReadMatch(body(R"(,"subject":[7])"), kEncounter).found.subject, "");
}

TEST(Match, AnEncounterOfAnotherPatientIsHeld) {
  const Found patient{"Patient/p1", ""};
  EXPECT_FALSE(ContradictEachOther({patient, {"Encounter/e1", "Patient/p1"}}));
  EXPECT_FALSE(ContradictEachOther({patient, {"Encounter/e1", ""}}));
  EXPECT_FALSE(ContradictEachOther({{"Encounter/e1", "Patient/p2"}})) << "no patient looked up";
  EXPECT_TRUE(ContradictEachOther({patient, {"Encounter/e1", "Patient/p2"}}));
  EXPECT_TRUE(ContradictEachOther(
      {patient, {"Encounter/e1", "Patient/p1"}, {"Encounter/e2", "Patient/p2"}}));
  EXPECT_EQ(Contradiction().course, Course::kHold);
}

TEST(Match, TheSearchAsksForNoMoreThanItNeedsAndIsOneRequestLine) {
  EXPECT_EQ(SearchTarget("/fhir", kPatient),
            "/fhir/Patient?identifier=https%3A%2F%2Ffhir.nhs.uk%2FId%2Fnhs-number%7C9990000018"
            "&_count=2&_elements=identifier,active,link");
  EXPECT_EQ(SearchTarget("/", kEncounter),
            "/Encounter?identifier=urn%3Avisits%7CV%2F1&_count=2"
            "&_elements=identifier,status,subject");
}

TEST(Match, EveryFindingHasItsCourseAndNoneIsUncertain) {
  struct Row {
    std::string body;
    Course course;
    const char* why;
  };
  const std::string one = Entry(Patient("p1"));
  const std::vector<Row> rows = {
      {Set({}), Course::kWait, "knows none"},
      {Set({one, one}), Course::kHold, "more than one"},
      {Set({Entry(Resource("Patient", "p", "1"))}), Course::kHold, "ignored the search"},
      {Set({}, kTotal1), Course::kHold, "disagree"},
      {Set({Entry(Patient("p", R"(,"link":[{"type":"replaced-by"}])"))}), Course::kHold, "merged"},
      {Set({Entry(Patient("p", R"(,"active":false)"))}), Course::kHold, "no longer active"},
      {Set({Entry(Patient(""))}), Course::kHold, "no usable id"},
      {"{}", Course::kHold, "no search result"},
      {"<!doctype html><p>9990000018", Course::kAgain, "no FHIR JSON"},
  };
  for (const Row& row : rows) {
    const auto judged = JudgeSearch(Answer(200, kFhir, row.body), kPatient, Sent(), kNow);
    ASSERT_FALSE(judged) << row.why;
    EXPECT_EQ(judged.error().course, row.course) << row.why;
    EXPECT_FALSE(judged.error().uncertain) << row.why;
    EXPECT_THAT(judged.error().why, HasSubstr(row.why));
    EXPECT_THAT(judged.error().why, testing::StartsWith("the search for the Patient: "));
    EXPECT_THAT(judged.error().why, testing::Not(HasSubstr("9990000018")));
    EXPECT_THAT(judged.error().outcome, testing::Not(HasSubstr("9990000018"))) << row.why;
  }
  const auto found = JudgeSearch(Answer(200, kFhir, Set({one})), kPatient, Sent(), kNow);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->literal, "Patient/p1");
  EXPECT_FALSE(JudgeSearch(Answer(200, "text/html", Set({one})), kPatient, Sent(), kNow));
  EXPECT_FALSE(JudgeSearch(Answer(206, kFhir, Set({one})), kPatient, Sent(), kNow));
}

TEST(Match, SomebodyUnknownIsWaitedForButNotForEver) {
  Sent sent;
  sent.attempts = 1'000'000;  // attempts are about what the endpoint says to the bundle itself
  sent.age = limits::kUnknownTargetTimeMax - seconds(1);
  EXPECT_EQ(JudgeSearch(Answer(200, kFhir, Set({})), kPatient, sent, kNow).error().course,
            Course::kWait);
  sent.age = limits::kUnknownTargetTimeMax;
  const auto last = JudgeSearch(Answer(200, kFhir, Set({})), kPatient, sent, kNow);
  EXPECT_EQ(last.error().course, Course::kHold);
  EXPECT_THAT(last.error().why, HasSubstr("long enough"));
}

TEST(Match, WhatIsNoAnswerMeansWhatItMeansForABundleButIsNeverUncertain) {
  const char* const outcome = R"({"resourceType":"OperationOutcome"})";
  struct Row {
    int status;
    Course with_outcome, with_page;
  };
  const std::vector<Row> rows = {
      {302, Course::kPause, Course::kPause}, {400, Course::kHold, Course::kHold},
      {401, Course::kPause, Course::kPause}, {403, Course::kHold, Course::kPause},
      {404, Course::kAgain, Course::kPause}, {429, Course::kAgain, Course::kAgain},
      {500, Course::kAgain, Course::kAgain}, {504, Course::kAgain, Course::kAgain},
  };
  for (const Row& row : rows) {
    const auto spoken = JudgeSearch(Answer(row.status, kFhir, outcome), kPatient, Sent(), kNow);
    const auto page = JudgeSearch(Answer(row.status, "text/html", "<p>"), kPatient, Sent(), kNow);
    EXPECT_EQ(spoken.error().course, row.with_outcome) << row.status;
    EXPECT_EQ(page.error().course, row.with_page) << row.status;
    EXPECT_FALSE(spoken.error().uncertain) << row.status;
    EXPECT_THAT(page.error().why, HasSubstr(std::to_string(row.status)));
  }
  for (const Failure failure : {Failure::kBroken, Failure::kTimeOut, Failure::kGarbage}) {
    Exchange exchange = Answer(200, kFhir, Set({Entry(Patient("p1"))}));
    exchange.failure = failure;  // a head was read, and a body that looks whole
    exchange.error = "in words";
    const auto judged = JudgeSearch(exchange, kPatient, Sent(), kNow);
    ASSERT_FALSE(judged);
    EXPECT_EQ(judged.error().course, Course::kAgain);
    EXPECT_FALSE(judged.error().uncertain);
    EXPECT_THAT(judged.error().why, HasSubstr("in words"));
  }
}

TEST(Match, OnlyRefusalsThatMayNameATargetBlameAnId) {
  for (int status = 100; status < 600; ++status) {
    Verdict verdict;
    verdict.status = status;
    const bool blames = status == 400 || status == 404 || status == 409 || status == 410 ||
                        status == 412 || status == 422;
    EXPECT_EQ(MayBlameAnId(verdict), blames) << status;
  }
}

}  // namespace
}  // namespace dwell::delivery
