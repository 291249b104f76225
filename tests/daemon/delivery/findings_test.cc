// What an endpoint says of itself -> findings. Members and codes are those of FHIR R4
// capabilitystatement.html, its value sets system-restful-interaction, type-restful-interaction,
// reference-handling-policy and restful-security-service, and of versions.html.
#include "daemon/delivery/findings.h"

#include <functional>

#include "tests/daemon/delivery/findings_fixture.h"

namespace dwell::delivery {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

TEST(Findings, AnEndpointThatSaysAllThatWeNeedIsOkThroughout) {
  const auto findings = JudgeStatement(Answer(Statement().Text()), Wants());
  ExpectWhole(findings);
  EXPECT_THAT(Troubles(findings), IsEmpty());
  EXPECT_EQ(Worst(findings), Grade::kOk);
}

struct Row {
  const char* what;
  std::function<void(Statement&, Wants&)> change;
  const char* trouble;  ///< the only one
};

class FindingsRows : public testing::TestWithParam<Row> {};

TEST_P(FindingsRows, OneThingSaidOtherwiseIsOneFinding) {
  Statement statement;
  Wants wants;
  GetParam().change(statement, wants);
  const auto findings = JudgeStatement(Answer(statement.Text()), wants);
  ExpectWhole(findings);
  ASSERT_EQ(Troubles(findings).size(), 1U) << GetParam().what << statement.Text();
  EXPECT_THAT(Troubles(findings).front(), HasSubstr(GetParam().trouble)) << GetParam().what;
}

using S = Statement;
using W = Wants;

INSTANTIATE_TEST_SUITE_P(
    System, FindingsRows,
    testing::Values(
        Row{"R5", [](S& s, W&) { s.version = R"("fhirVersion":"5.0.0",)"; },
            "cannot FHIR version: FHIR 5.0.0, not 4.0.1"},
        Row{"STU3", [](S& s, W&) { s.version = R"("fhirVersion":"3.0.2",)"; },
            "cannot FHIR version: FHIR 3.0.2, not 4.0.1"},
        Row{"R4B", [](S& s, W&) { s.version = R"("fhirVersion":"4.3.0",)"; },
            "cannot FHIR version: FHIR 4.3.0, not 4.0.1"},
        Row{"a correction of R4", [](S& s, W&) { s.version = R"("fhirVersion":"4.0.0",)"; },
            "doubtful FHIR version: FHIR 4.0.0, not 4.0.1; they differ in corrections only"},
        Row{"no version", [](S& s, W&) { s.version = ""; }, "doubtful FHIR version: does not say"},
        Row{"a version that would steer a terminal",
            [](S& s, W&) { s.version = "\"fhirVersion\":\"\\u001b[31m\","; },
            "cannot FHIR version: FHIR  [31m, not 4.0.1"},
        Row{"XML only", [](S& s, W&) { s.format = R"("format":["xml"],)"; },
            "cannot format: lists formats"},
        Row{"no format", [](S& s, W&) { s.format = ""; }, "doubtful format: does not say"},
        Row{"batches only",
            [](S& s, W&) { s.interaction = R"("interaction":[{"code":"batch"}],)"; },
            "doubtful writing: lists batches, not transactions"},
        Row{"neither",
            [](S& s, W&) { s.interaction = R"("interaction":[{"code":"history-system"}],)"; },
            "doubtful writing: lists what it takes"},
        Row{"no interactions", [](S& s, W&) { s.interaction = ""; },
            "doubtful writing: does not say"},
        Row{"a client's statement", [](S& s, W&) { s.mode = "client"; },
            "doubtful interactions: the statement describes no server"}));

INSTANTIATE_TEST_SUITE_P(
    Types, FindingsRows,
    testing::Values(
        Row{"no Task", [](S& s, W&) { s.left_out = {"Task"}; }, "cannot Task: not among the types"},
        Row{"Task cannot be updated",
            [](S& s, W&) { s.task = R"("interaction":[{"code":"create"}],"updateCreate":true)"; },
            "cannot Task: listed, without update; also create"},
        Row{"Task with ids of theirs",
            [](S& s, W&) { s.task = R"("interaction":[{"code":"update"}],"updateCreate":false)"; },
            "cannot Task: no update as create"},
        Row{"Task, and nothing about ids",
            [](S& s, W&) {
              s.task = R"("interaction":[{"code":"update"}],"conditionalUpdate":true)";
            },
            "doubtful Task: update; whether also as create the statement does not say; also "
            "conditional update"},
        Row{"Task, and nothing else", [](S& s, W&) { s.task = R"("versioning":"versioned")"; },
            "doubtful Task: listed, without saying"},
        Row{"ids of theirs for all: one line",
            [](S& s, W&) {
              s.writing = R"("interaction":[{"code":"update"}],"updateCreate":false)";
            },
            "cannot Device, Procedure, DeviceUseStatement, Observation, Task, Provenance: no "
            "update"},
        Row{"references of Task never by identifier",
            [](S& s, W& w) {
              s.task = s.writing + R"(,"referencePolicy":["literal","enforced"])";
              w.patients = Naming::kResolved;
            },
            "doubtful Encounter: referencePolicy without \"logical\": Task"},
        Row{"references of Task by identifier only",
            [](S& s, W& w) {
              s.task = s.writing + R"(,"referencePolicy":["logical"])";
              w.patients = Naming::kResolved;
            },
            "doubtful references: referencePolicy without \"literal\": Task"}));

// R4 has no member that says whether conditional references are resolved: always doubtful.
INSTANTIATE_TEST_SUITE_P(
    Patients, FindingsRows,
    testing::Values(
        Row{"conditional", [](S&, W& w) { w.patients = Naming::kConditional; },
            "doubtful Patient: may be searched for by identifier; whether inside a transaction"},
        Row{"resolved, no Patient",
            [](S& s, W& w) {
              s.left_out = {"Patient"};
              w.patients = Naming::kResolved;
            },
            "cannot Patient: not among the types"},
        Row{"resolved, no Encounter",
            [](S& s, W& w) {
              s.left_out = {"Encounter"};
              w.encounters = Naming::kResolved;
            },
            "cannot Encounter: not among the types"},
        Row{"no search",
            [](S& s, W& w) {
              s.searching = R"("interaction":[{"code":"read"}])";
              w.patients = Naming::kResolved;
            },
            "cannot Patient: listed, without search"},
        Row{"search by name only",
            [](S& s, W& w) {
              s.searching =
                  R"("interaction":[{"code":"search-type"}],"searchParam":[{"name":"name"}])";
              w.patients = Naming::kResolved;
            },
            "cannot Patient: may be searched for, and not by identifier"},
        Row{"parameters not told",
            [](S& s, W& w) {
              s.searching = R"("interaction":[{"code":"search-type"}])";
              w.patients = Naming::kResolved;
            },
            "doubtful Patient: listed, without saying how"}));

std::string Security(const std::string& code) {
  return R"("security":{"service":[{"coding":[{"system":)"
         R"("http://terminology.hl7.org/CodeSystem/restful-security-service","code":")" +
         code + R"("}]}]},)";
}

INSTANTIATE_TEST_SUITE_P(Admission, FindingsRows,
                         testing::Values(Row{"a token, and not a word about it",
                                             [](S&, W& w) { w.admission = Admission::kBearer; },
                                             "doubtful security: does not say"},
                                         Row{"SMART, and we show nothing",
                                             [](S& s, W&) {
                                               s.security = Security("SMART-on-FHIR");
                                             },
                                             "doubtful security: lets clients in by SMART-on-FHIR"},
                                         Row{"passwords, and we show a token",
                                             [](S& s, W& w) {
                                               s.security = Security("Basic");
                                               w.admission = Admission::kTokens;
                                             },
                                             "doubtful security: lets clients in by Basic"}));

TEST(Findings, WhatWeShowIsOkWhenItIsAmongWhatTheEndpointNames) {
  Statement statement;
  Wants wants;
  for (const char* const code : {"SMART-on-FHIR", "OAuth"}) {
    statement.security = Security(code);
    for (const auto admission : {Admission::kBearer, Admission::kTokens}) {
      wants.admission = admission;
      EXPECT_THAT(Troubles(JudgeStatement(Answer(statement.Text()), wants)), IsEmpty());
    }
  }
  statement.security = Security("Certificates");
  wants.admission = Admission::kNothing;
  wants.has_certificate = true;
  EXPECT_THAT(Troubles(JudgeStatement(Answer(statement.Text()), wants)), IsEmpty());
}

TEST(Findings, TheVersionToSetIsSaidWhenWeCanWriteIt) {
  Statement statement;
  statement.version = R"("fhirVersion":"5.0.0",)";
  EXPECT_THAT(JudgeStatement(Answer(statement.Text()), {})[1].to_do,
              HasSubstr("endpoint.fhir_version = \"5.0.0\""));
  statement.version = R"("fhirVersion":"3.0.2",)";
  EXPECT_THAT(JudgeStatement(Answer(statement.Text()), {})[1].to_do,
              HasSubstr("4.0.1, 4.3.0 and 5.0.0"));
}

TEST(Findings, R5HasTypesOfItsOwn) {
  Statement statement;
  statement.version = R"("fhirVersion":"5.0.0",)";
  Wants wants;
  wants.release = FhirRelease::kR5;
  EXPECT_THAT(
      Troubles(JudgeStatement(Answer(statement.Text()), wants)),
      testing::ElementsAre("cannot DeviceUsage, DeviceAssociation: not among the types that "
                           "the statement lists"));
}

TEST(Findings, AStatementWithoutAnyTypesLeavesAllOfThemDoubtful) {
  const auto findings = JudgeStatement(
      Answer(R"({"resourceType":"CapabilityStatement","fhirVersion":"4.0.1","format":["json"],)"
             R"("rest":[{"mode":"server","interaction":[{"code":"transaction"}]}]})"),
      {});
  ExpectWhole(findings);
  EXPECT_THAT(Troubles(findings),
              testing::ElementsAre("doubtful Device, Procedure, DeviceUseStatement, Observation, "
                                   "Task, Provenance: the statement lists no types at all"));
}

// The way in which a FHIR server library in Java (JPA server, 8.x) describes itself, written anew
// and shortened: it takes updates as creates, and its statement does not say so.
TEST(Findings, ARealServerThatDoesNotTellOfUpdateAsCreateIsDoubtfulNotRefused) {
  Statement statement;
  statement.format = R"("format":["application/fhir+xml","xml","application/fhir+json","json"],)";
  statement.interaction = R"("interaction":[{"code":"transaction"},{"code":"history-system"}],)";
  statement.writing =
      R"("interaction":[{"code":"search-type"},{"code":"update"},{"code":"vread"},{"code":"read"},)"
      R"({"code":"patch"},{"code":"create"}],"versioning":"versioned-update",)"
      R"("conditionalCreate":true,"conditionalUpdate":true,"conditionalDelete":"multiple")";
  Wants wants;
  wants.patients = Naming::kResolved;
  const auto findings = JudgeStatement(Answer(statement.Text()), wants);
  EXPECT_THAT(Troubles(findings),
              testing::ElementsAre("doubtful Device, Procedure, DeviceUseStatement, Observation, "
                                   "Task, Provenance: update; whether also as create the statement "
                                   "does not say; also create, conditional create, conditional "
                                   "update"));
}

struct AnswerRow {
  const char* what;
  net::Exchange exchange;
  const char* trouble;
};

class FindingsAnswers : public testing::TestWithParam<AnswerRow> {};

TEST_P(FindingsAnswers, WithoutAStatementThereIsOneFindingAndNothingIsClaimed) {
  const auto findings = JudgeStatement(GetParam().exchange, {});
  ExpectWhole(findings);
  ASSERT_EQ(findings.size(), 1U) << GetParam().what;
  EXPECT_THAT(Troubles(findings).front(), HasSubstr(GetParam().trouble)) << GetParam().what;
  EXPECT_THAT(findings.front().found, Not(HasSubstr("secret"))) << "nothing that the peer wrote";
}

net::Exchange Failed(net::Failure failure, const char* error) {
  net::Exchange exchange;
  exchange.failure = failure;
  exchange.error = error;
  return exchange;
}

INSTANTIATE_TEST_SUITE_P(
    Rows, FindingsAnswers,
    testing::Values(
        AnswerRow{"refused", Failed(net::Failure::kConnect, "connection refused"),
                  "cannot connection: connection refused"},
        AnswerRow{"TLS", Failed(net::Failure::kTls, "certificate has expired"),
                  "cannot connection: certificate has expired"},
        AnswerRow{"time-out", Failed(net::Failure::kTimeOut, "no complete answer in time"),
                  "cannot connection: no complete answer"},
        AnswerRow{"too large", Failed(net::Failure::kTooLarge, "body limit"),
                  "doubtful statement: GET metadata gives more than we read"},
        AnswerRow{"a redirect", Answer("secret", 302),
                  "doubtful statement: the endpoint answered 302: it redirects"},
        AnswerRow{"401", Answer("secret", 401), "doubtful statement: the endpoint answered 401"},
        AnswerRow{"403", Answer("secret", 403), "it forbids us"},
        AnswerRow{"404", Answer("secret", 404), "it has no statement at this address"},
        AnswerRow{"500", Answer("secret", 500), "it could not answer now"},
        AnswerRow{"204", Answer("", 204), "a status that nobody expects here"},
        AnswerRow{"a web page", Answer("<html>secret", 200, "text/html"),
                  "doubtful statement: GET metadata gives an answer that is no FHIR JSON"},
        AnswerRow{"empty", Answer(""), "gives an empty answer"},
        AnswerRow{"half", Answer(R"({"resourceType":"CapabilityStatement","secr)"),
                  "gives an answer that is no legal JSON"},
        AnswerRow{"an array", Answer(R"(["secret"])"), "gives JSON that is no CapabilityStatement"},
        // What a FHIR router library in JavaScript without this page answers: an empty search.
        AnswerRow{"a search", Answer(R"({"resourceType":"Bundle","type":"searchset","total":0})"),
                  "gives JSON that is no CapabilityStatement"}));

TEST(Findings, TheTokenEndpointIsComparedWithTheOneThatTheEndpointNames) {
  Wants wants;
  wants.admission = Admission::kTokens;
  wants.token_url = "https://login.example/token";
  const auto judged = [&](const net::Exchange& exchange) {
    const Finding finding = JudgeSmart(exchange, wants);
    ExpectWhole({finding});
    return Troubles({finding});
  };
  EXPECT_THAT(judged(Answer(R"({"token_endpoint":"https://login.example/token",)"
                            R"("token_endpoint_auth_methods_supported":["private_key_jwt"]})",
                            200, "application/json")),
              IsEmpty());
  EXPECT_THAT(judged(Answer(R"({"token_endpoint":"https://other.example/secret"})")).at(0),
              testing::AllOf(HasSubstr("names another one"), Not(HasSubstr("secret"))));
  EXPECT_THAT(judged(Answer(R"({"token_endpoint":"https://login.example/token",)"
                            R"("token_endpoint_auth_methods_supported":["client_secret_basic"]})"))
                  .at(0),
              HasSubstr("do not have private_key_jwt"));
  EXPECT_THAT(judged(Answer("", 404)).at(0), HasSubstr("does not tell its token endpoint"));
  EXPECT_THAT(judged(Answer("[]")).at(0), HasSubstr("does not tell its token endpoint"));
}

}  // namespace
}  // namespace dwell::delivery
