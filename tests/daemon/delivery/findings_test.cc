// What an endpoint says of itself -> findings. Members and codes are those of FHIR R4
// capabilitystatement.html, its value sets system-restful-interaction, type-restful-interaction,
// reference-handling-policy and restful-security-service, and of versions.html.
#include "daemon/delivery/findings.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <functional>

namespace dwell::delivery {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

constexpr const char* kOurTypes[] = {"Device",      "Procedure", "DeviceUseStatement",
                                     "Observation", "Task",      "Provenance"};

/// A statement in parts, each the JSON text of a member, so that a row can say one thing otherwise.
struct Statement {
  std::string version = R"("fhirVersion":"4.0.1",)";
  std::string format = R"("format":["xml","application/fhir+json"],)";
  std::string mode = "server";
  std::string security;
  std::string interaction = R"("interaction":[{"code":"transaction"},{"code":"batch"}],)";
  std::string writing = R"("interaction":[{"code":"read"},{"code":"update"}],"updateCreate":true)";
  std::string task;  ///< when not empty: instead of `writing`, for Task
  std::string searching =
      R"("interaction":[{"code":"search-type"}],"searchParam":[{"name":"identifier"}])";
  std::vector<std::string> left_out;

  std::string Text() const {
    std::string types;
    const auto add = [&](const std::string& type, const std::string& says) {
      if (std::ranges::find(left_out, type) != left_out.end()) return;
      types += (types.empty() ? "" : ",") + (R"({"type":")" + type + "\"") +
               (says.empty() ? "" : "," + says) + "}";
    };
    for (const char* const type : kOurTypes) {
      add(type, std::string_view(type) == "Task" && !task.empty() ? task : writing);
    }
    add("Patient", searching);
    add("Encounter", searching);
    return R"({"resourceType":"CapabilityStatement","status":"active","kind":"instance",)" +
           version + format + R"("rest":[{"mode":")" + mode + "\"," + security + interaction +
           R"("resource":[)" + types + "]}]}";
  }
};

net::Exchange Answer(std::string body, int status = 200,
                     std::string content_type = "application/fhir+json;charset=utf-8") {
  net::Exchange exchange;
  exchange.written = net::Written::kAll;
  exchange.status = status;
  exchange.content_type = std::move(content_type);
  exchange.body = std::move(body);
  return exchange;
}

/// Whatever is found: it says what dwelld does, and what to do unless all is well.
void ExpectWhole(const std::vector<Finding>& findings) {
  EXPECT_THAT(findings, Not(IsEmpty()));
  for (const Finding& finding : findings) {
    EXPECT_THAT(finding.about, Not(IsEmpty()));
    EXPECT_THAT(finding.found, Not(IsEmpty())) << finding.about;
    EXPECT_THAT(finding.will, Not(IsEmpty())) << finding.about;
    EXPECT_EQ(finding.to_do.empty(), finding.grade == Grade::kOk) << finding.about;
  }
}

/// The findings that are not ok, as "grade about: found".
std::vector<std::string> Troubles(const std::vector<Finding>& findings) {
  std::vector<std::string> troubles;
  for (const Finding& finding : findings) {
    if (finding.grade == Grade::kOk) continue;
    troubles.push_back((finding.grade == Grade::kDoubtful ? "doubtful " : "cannot ") +
                       finding.about + ": " + finding.found);
  }
  return troubles;
}

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
        Row{"no interactions, and batches are pinned",
            [](S& s, W& w) {
              s.interaction = "";
              w.pins.interaction = Interaction::kBatch;
            },
            "doubtful writing: does not say"},
        Row{"batches only, and transactions are pinned",
            [](S& s, W& w) {
              s.interaction = R"("interaction":[{"code":"batch"}],)";
              w.pins.interaction = Interaction::kTransaction;
            },
            "cannot writing: lists batches, not transactions"},
        Row{"transactions only, and batches are pinned",
            [](S& s, W& w) {
              s.interaction = R"("interaction":[{"code":"transaction"}],)";
              w.pins.interaction = Interaction::kBatch;
            },
            "cannot writing: takes transactions"},
        Row{"transactions, and singles are pinned",
            [](S&, W& w) { w.pins.interaction = Interaction::kSingle; },
            "doubtful writing: takes transactions"},
        Row{"a client's statement", [](S& s, W&) { s.mode = "client"; },
            "doubtful interactions: the statement describes no server"}));

constexpr const char* kTheirIds =
    R"("interaction":[{"code":"update"}],"updateCreate":false,"conditionalUpdate":true,)"
    R"("conditionalCreate":true)";

INSTANTIATE_TEST_SUITE_P(
    Identity, FindingsRows,
    testing::Values(
        Row{"ids of theirs, and ours are pinned",
            [](S& s, W& w) {
              s.writing = kTheirIds;
              w.pins.identity = Identity::kUpdateAsCreate;
            },
            "cannot Device, Procedure, DeviceUseStatement, Observation, Task, Provenance: no "
            "update as create"},
        Row{"conditions are pinned, and nobody speaks of them",
            [](S&, W& w) { w.pins.identity = Identity::kConditionalUpdate; },
            "doubtful Device, Procedure, DeviceUseStatement, Observation, Task, Provenance: "
            "listed"},
        Row{"conditions, and no search by tag",
            [](S& s, W&) {
              s.writing = std::string(kTheirIds) + R"(,"searchParam":[{"name":"identifier"}])";
            },
            "doubtful identity: lists search parameters, and these are not among them: "
            "Provenance by _tag"}));

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

TEST(Findings, WhatIsDoneIsSaidForEachStyle) {
  Statement statement;
  const auto findings = [&](const Pins& pins) {
    Wants wants;
    wants.pins = pins;
    std::vector<Finding> found = JudgeStatement(Answer(statement.Text()), wants);
    ExpectWhole(found);
    return found;
  };
  EXPECT_EQ(findings({}).at(3).will,
            "sends each change of a line as one transaction, all or nothing (endpoint.writes = "
            "\"auto\")");
  EXPECT_THAT(findings(Pins{Interaction::kBatch, std::nullopt, 1}).at(3).will,
              testing::AllOf(HasSubstr("as a batch"), HasSubstr("endpoint.writes = \"batch\"")));
  EXPECT_THAT(findings(Pins{Interaction::kSingle, std::nullopt, 1}).at(3).will,
              HasSubstr("each resource by itself"));
  EXPECT_THAT(findings(Pins{std::nullopt, std::nullopt, 20}).at(4).will,
              testing::AllOf(HasSubstr("up to 20 bundles"), HasSubstr("endpoint.share_max")));
  statement.writing = kTheirIds;
  const Pins pinned{std::nullopt, Identity::kConditionalUpdate, 1};
  EXPECT_THAT(Troubles(findings(pinned)), IsEmpty()) << "ids of theirs, and a way for all types";
  EXPECT_THAT(findings(pinned).at(4).will, HasSubstr("by an identifier of ours"));
  EXPECT_THAT(Troubles(findings({})),
              testing::ElementsAre("doubtful identity: takes conditions for our types"));
  EXPECT_THAT(findings({}).at(4).to_do,
              HasSubstr("set endpoint.identity = \"conditional-update\": should the statement"));
  EXPECT_THAT(findings(Pins{std::nullopt, Identity::kUpdateAsCreate, 1}).at(4).to_do,
              HasSubstr("set endpoint.identity = \"auto\""));
}

TEST(Findings, ProfilesThatAStyleCannotKeepAreTold) {
  Statement statement;
  statement.writing = kTheirIds;
  Wants wants;
  wants.profiles = true;
  wants.pins.identity = Identity::kConditionalUpdate;
  EXPECT_THAT(Troubles(JudgeStatement(Answer(statement.Text()), wants)), IsEmpty());
  wants.pins.interaction = Interaction::kBatch;
  const auto findings = JudgeStatement(Answer(statement.Text()), wants);
  ExpectWhole(findings);
  EXPECT_THAT(Troubles(findings),
              testing::ElementsAre("doubtful writing: takes transactions",
                                   HasSubstr("doubtful profiles: references among our resources")));
}

TEST(Findings, SearchesAsReferencesAreForTransactionsOnly) {
  Wants wants;
  wants.patients = wants.encounters = Naming::kConditional;
  wants.pins.interaction = Interaction::kBatch;
  const auto findings = JudgeStatement(Answer(Statement().Text()), wants);
  ExpectWhole(findings);
  EXPECT_THAT(Troubles(findings),
              testing::ElementsAre("doubtful writing: takes transactions",
                                   "doubtful Patient: a search as a reference is legal in "
                                   "transactions only",
                                   "doubtful Encounter: a search as a reference is legal in "
                                   "transactions only"));
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
