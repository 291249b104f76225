// dwell check --endpoint as a whole: from its command line over the socket to its exit code.
#include "daemon/command/check_endpoint.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "daemon/command/command.h"
#include "daemon/command/options.h"
#include "schemas/json/document.h"
#include "tests/endpoint/practice_endpoint.h"
#include "tests/support/temp_folder.h"

namespace dwell::command {
namespace {

using delivery::Finding;
using delivery::Grade;
using practice::Telling;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

TEST(CheckEndpointReport, SaysWhatWasFoundWhatWeDoAndWhatToDo) {
  const std::vector<Finding> findings = {
      {Grade::kOk, "format", "JSON", "sends JSON", ""},
      {Grade::kCannot, "Task", "not listed", "sends it all the same", "ask them"}};
  EXPECT_EQ(FindingsAsText(findings),
            "ok        format: JSON\n"
            "          dwelld sends JSON\n"
            "cannot    Task: not listed\n"
            "          dwelld sends it all the same\n"
            "          to do: ask them\n");
  EXPECT_EQ(FindingsAsJson(findings),
            R"({"grade":"ok","about":"format","found":"JSON","will":"sends JSON"})"
            "\n"
            R"({"grade":"cannot","about":"Task","found":"not listed",)"
            R"("will":"sends it all the same","to_do":"ask them"})"
            "\n");
}

TEST(CheckEndpointReport, JsonIsForTheEndpointOnly) {
  EXPECT_EQ(ReadOptions({"check", "--endpoint", "--json"}).exit_code, 0);
  EXPECT_EQ(ReadOptions({"check", "--json"}).exit_code, 64);
}

class CheckEndpointTest : public testing::Test {
 protected:
  void SetUp() override {
    auto made = practice::PracticeEndpoint::Start({});
    ASSERT_TRUE(made) << made.error().message();
    endpoint_ = std::move(*made);
    Configure("");
  }
  /// `more` is further TOML, for [endpoint] first.
  void Configure(const std::string& more) {
    test::WriteBytes(config_,
                     "[site]\nnamespace = \"https://fernhill.example/dwelld\"\n"
                     "zone = \"Europe/London\"\n[store]\npath = \"store.db\"\n"
                     "[policy]\nfile = \"" DWELL_SOURCE_DIR
                     "/deploy/config/policy-common-practice.toml\"\n[endpoint]\nurl = \"" +
                         endpoint_->url() + "\"\n" + more);
  }
  int Run(std::vector<std::string> more = {}) {
    std::vector<std::string> arguments = arguments_;
    arguments.insert(arguments.end(), {"--config", config_});
    arguments.insert(arguments.end(), more.begin(), more.end());
    testing::internal::CaptureStdout();
    testing::internal::CaptureStderr();
    const int code = RunCommand(arguments);
    output_ = testing::internal::GetCapturedStdout();
    errors_ = testing::internal::GetCapturedStderr();
    EXPECT_EQ(endpoint_->desk().counts().transactions, 0U);
    return code;
  }
  int RunTold(Telling telling) {
    practice::Manners manners;
    manners.telling = telling;
    endpoint_->desk().SetManners(manners);
    return Run();
  }

  test::TempFolder folder_;
  std::string config_ = folder_ / "dwelld.toml";
  std::vector<std::string> arguments_ = {"check", "--endpoint"};
  std::unique_ptr<practice::PracticeEndpoint> endpoint_;
  std::string output_, errors_;
};

TEST_F(CheckEndpointTest, AllWellEndsWithZeroAndSaysThatNothingWasSent) {
  EXPECT_EQ(Run(), 0);
  EXPECT_THAT(output_, AllOf(HasSubstr("ok        FHIR version: FHIR 4.0.1, as configured\n"),
                             HasSubstr("ok        Device, Procedure, DeviceUseStatement"),
                             Not(HasSubstr("to do"))));
  EXPECT_THAT(errors_, AllOf(HasSubstr("0 doubtful, 0 cannot; no event was sent"),
                             HasSubstr("nothing out because of this")));
}

TEST_F(CheckEndpointTest, WhatIsOnlyDoubtfulEndsWithZeroToo) {
  EXPECT_EQ(RunTold(Telling::kMissing), 0);
  EXPECT_THAT(output_, AllOf(HasSubstr("doubtful  statement: the endpoint answered 404"),
                             HasSubstr("to do: see that endpoint.url is the base URL")));
  EXPECT_EQ(RunTold(Telling::kGarbage), 0);
  EXPECT_THAT(output_, HasSubstr("doubtful  statement: GET metadata gives an answer that is no"));
  EXPECT_EQ(RunTold(Telling::kNoTransaction), 0);
  EXPECT_THAT(output_, AllOf(HasSubstr("doubtful  writing: lists batches"),
                             HasSubstr("dwelld sends each change of a line as a batch")));
}

TEST_F(CheckEndpointTest, WhatCannotWorkEndsAsAWrongConfigurationDoes) {
  EXPECT_EQ(RunTold(Telling::kR5), 78);
  EXPECT_THAT(output_, HasSubstr("cannot    FHIR version: FHIR 5.0.0, not 4.0.1\n"));
  EXPECT_EQ(RunTold(Telling::kOwnIds), 78);
  EXPECT_THAT(output_, HasSubstr("cannot    Task: not among the types"));
}

TEST_F(CheckEndpointTest, AnEndpointThatIsDownIsUnavailable) {
  endpoint_->GoDown();
  EXPECT_EQ(Run(), 69);
  EXPECT_THAT(output_, HasSubstr("cannot    connection: "));
}

TEST_F(CheckEndpointTest, AWrongConfigurationIsToldAsEverAndNobodyIsAsked) {
  Configure("ca_file = \"nowhere.pem\"\n");
  EXPECT_EQ(Run(), 78);
  EXPECT_THAT(errors_, AllOf(HasSubstr("/endpoint/ca_file"), HasSubstr("1 finding")));
  EXPECT_EQ(endpoint_->desk().counts().requests, 0U);
}

TEST_F(CheckEndpointTest, AsJsonEveryLineIsAnObjectAndNoSecretIsInIt) {
  test::WriteBytes(folder_ / "token", "practice-token-1\n");
  endpoint_->desk().Demand("Bearer practice-token-1");
  Configure("bearer_file = \"token\"\n[references]\npatient = \"resolved\"\n");
  EXPECT_EQ(Run({"--json"}), 0);
  std::size_t lines = 0, doubtful = 0;
  for (std::size_t at = 0; at < output_.size(); ++lines) {
    const std::size_t end = output_.find('\n', at);
    const std::string line = output_.substr(at, end - at);
    const auto row = schemas::Document::Parse(line);
    ASSERT_TRUE(row) << line;
    for (const char* const member : {"grade", "about", "found", "will"}) {
      EXPECT_TRUE(row->root().Find(member)) << line;
    }
    doubtful += row->root().Find("grade")->AsString() == "doubtful" ? 1 : 0;
    at = end + 1;
  }
  EXPECT_EQ(lines, 8U);  // statement, version, format, writing, types, 2 references, security
  EXPECT_EQ(doubtful, 1U) << "how the endpoint lets us in it does not say";
  EXPECT_THAT(output_ + errors_, Not(HasSubstr("practice-token-1")));
  EXPECT_THAT(output_, HasSubstr("searches by identifier before it sends"));
}

TEST(CheckEndpoint, ByWhatAnEndpointHoldsResourcesIsReadOffTheDaemonsStatus) {
  const auto held = [](const char* status, const char* endpoint) {
    return HeldBy(schemas::Document::Parse(status)->root(), endpoint);
  };
  EXPECT_EQ(held(R"({"holds":"conditional-update"})", "main"),
            delivery::Identity::kConditionalUpdate);
  const char* const several =
      R"({"endpoints":[{"endpoint":"main"},{"endpoint":"research","holds":"update-as-create"}]})";
  EXPECT_EQ(held(several, "research"), delivery::Identity::kUpdateAsCreate);
  for (const char* const none : {"main", "nobody"}) EXPECT_EQ(held(several, none), std::nullopt);
  EXPECT_EQ(held(R"({"holds":"by-magic"})", "main"), std::nullopt);
  EXPECT_EQ(held("[]", "main"), std::nullopt);
}

TEST_F(CheckEndpointTest, OfSeveralEachIsAskedAndNamedOrTheOneThatIsMeant) {
  auto other = std::move(practice::PracticeEndpoint::Start({}).value());
  Configure("[endpoints.research]\nurl = \"" + other->url() + "\"\ntypes = [\"Observation\"]\n");
  EXPECT_EQ(Run(), 0);
  EXPECT_THAT(output_, AllOf(HasSubstr("main, http://localhost"), HasSubstr("research, http://")));
  EXPECT_EQ(Run({"--json"}), 0);
  EXPECT_THAT(output_, AllOf(HasSubstr(R"({"endpoint":"main","grade":"ok")"),
                             HasSubstr(R"({"endpoint":"research","grade":"ok")")));
  arguments_ = {"check", "--endpoint", "research"};
  EXPECT_EQ(Run(), 0);
  EXPECT_THAT(output_, AllOf(Not(HasSubstr("main, ")), HasSubstr("ok        Observation: ")));
  arguments_ = {"check", "--endpoint", "nobody"};
  EXPECT_EQ(Run(), 78);
  EXPECT_THAT(errors_, HasSubstr("no endpoint has the name nobody"));
  other->GoDown();
  arguments_ = {"check", "--endpoint"};
  EXPECT_EQ(Run(), 69);
  EXPECT_EQ(other->desk().counts().transactions, 0U);
}

}  // namespace
}  // namespace dwell::command
