// What an endpoint says of itself -> how we would write to it, and what is told about that. Members
// are those of FHIR R4 capabilitystatement.html.
#include <functional>

#include "tests/daemon/delivery/findings_fixture.h"

namespace dwell::delivery {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;

constexpr const char* kTheirIds =
    R"("interaction":[{"code":"update"}],"updateCreate":false,"conditionalUpdate":true,)"
    R"("conditionalCreate":true)";

struct Row {
  const char* what;
  std::function<void(Statement&, Wants&)> change;
  const char* trouble;  ///< the only one
};

class FindingsOfStyle : public testing::TestWithParam<Row> {};

TEST_P(FindingsOfStyle, OneThingIsOneFinding) {
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
    Rows, FindingsOfStyle,
    testing::Values(
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
  EXPECT_THAT(Troubles(findings({})), IsEmpty());
  EXPECT_THAT(findings(Pins{std::nullopt, Identity::kUpdateAsCreate, 1}).at(4).to_do,
              HasSubstr("set endpoint.identity = \"auto\""));
}

TEST(Findings, WhatTheEndpointHoldsStaysAndAChangeOfIdentityIsToldWithWhatToDo) {
  struct Case {
    bool takes_ours;
    Identity in_use;
    std::optional<Identity> pin;
    const char* trouble;  ///< about what it holds; empty: none
    const char* to_do;
  };
  constexpr Identity kOurs = Identity::kUpdateAsCreate;
  constexpr Identity kTheirs = Identity::kConditionalUpdate;
  const std::vector<Case> rows = {
      {true, kOurs, std::nullopt, "", ""},
      {false, kTheirs, std::nullopt, "", ""},
      {false, kOurs, std::nullopt,
       "doubtful identity held: holds resources under ids of ours, and says that it takes none",
       "then dwell reconcile --send"},
      {true, kTheirs, std::nullopt,
       "doubtful identity held: holds resources under ids of its own, and says that it takes no "
       "conditions",
       "must be removed before"},
      {false, kOurs, kTheirs, "doubtful identity held: holds resources under ids of ours",
       "dwell reconcile --send"},
      {false, kTheirs, kOurs, "cannot identity held: holds resources under ids of its own",
       "set endpoint.identity = \"auto\""},
  };
  for (const Case& row : rows) {
    Statement statement;
    statement.writing = row.takes_ours ? R"("interaction":[{"code":"update"}],"updateCreate":true,)"
                                         R"("conditionalUpdate":false,"conditionalCreate":false)"
                                       : kTheirIds;
    Wants wants;
    wants.in_use = row.in_use;
    wants.pins.identity = row.pin;
    const auto findings = JudgeStatement(Answer(statement.Text()), wants);
    ExpectWhole(findings);
    const auto held = std::ranges::find(findings, "identity held", &Finding::about);
    ASSERT_EQ(held != findings.end(), row.trouble[0] != 0) << row.trouble;
    if (held == findings.end()) continue;
    EXPECT_THAT(Troubles(findings), testing::Contains(row.trouble));
    EXPECT_THAT(held->to_do, HasSubstr(row.to_do));
  }
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

}  // namespace
}  // namespace dwell::delivery
