// The files of a running daemon change, and it reads them again.
#include <cstdlib>
#include <filesystem>

#include "tests/daemon/app/running_app.h"
#include "tests/support/zone_file.h"

namespace dwell::test {
namespace {

using testing::HasSubstr;

constexpr const char* kCheckIntervals =
    DWELL_SOURCE_DIR "/deploy/config/policy-check-intervals.toml";

std::string Reload(const RunningApp& app) {
  return AskSocket(app.socket, R"({"request":"reload","by":"op-3","why":"files of May"})");
}
std::string Refused(const RunningApp& app) {
  const auto refused = command::AskDaemon(
      app.socket, R"({"request":"reload","by":"op-3","why":"files of May"})", [](auto) {});
  return refused ? "not refused" : refused.error().message();
}
std::string Lines(const RunningApp& app) { return AskSocket(app.socket, R"({"request":"lines"})"); }
std::string Status(const RunningApp& app) {
  return AskSocket(app.socket, R"({"request":"status"})");
}
void Send(const RunningApp& app, const Sketch& sketch) {
  RawClient client(app.port);
  client.Send(Post(Raw(sketch)));
  EXPECT_EQ(StatusOf(client.Response()), 201);
}

class ReloadTest : public testing::Test {
 protected:
  ReloadTest() { WriteBytes(policy_, ReadBytes(kCommonPractice)); }

  std::unique_ptr<RunningApp> Start() {
    return std::make_unique<RunningApp>(folder_.path(), endpoint_->url(), clock_, "", policy_);
  }

  const std::unique_ptr<practice::PracticeEndpoint> endpoint_ =
      std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder_;
  const std::string policy_ = folder_ / "policy.toml";
  ManualClock clock_{Hour(2)};
};

TEST_F(ReloadTest, APolicyReadAgainCountsForTheLinesInPlaceAndABrokenOneChangesNothing) {
  const auto app = Start();
  Send(*app, Insertion("a", 0));
  const std::string before = Lines(*app);

  WriteBytes(policy_, "name = 5\n");
  EXPECT_THAT(Refused(*app), HasSubstr("policy.toml:1: /name"));
  EXPECT_EQ(Lines(*app), before);
  EXPECT_THAT(Status(*app), HasSubstr(R"("policy":"common-practice")"));
  EXPECT_THAT(Status(*app), HasSubstr("\"refused_at\":\""));

  WriteBytes(policy_, ReadBytes(kCheckIntervals));
  const std::string answer = Reload(*app);
  EXPECT_THAT(answer, HasSubstr(R"({"policy":"check-intervals","version":"1")"));
  EXPECT_THAT(answer, HasSubstr(R"("needs_restart":[])"));
  EXPECT_THAT(answer, HasSubstr("\"sums\":{\"lines\":1,\"differ\":1,"));
  EXPECT_NE(Lines(*app), before);
  EXPECT_THAT(Status(*app), HasSubstr(R"("policy":"check-intervals")"));
  EXPECT_EQ(Status(*app).find("refused_at"), std::string::npos);
}

TEST_F(ReloadTest, WhatCannotChangeWhileItRunsIsNamedAndTheRestFollows) {
  const auto app = Start();
  WriteBytes(app->file,
             RunningApp::ConfigText(endpoint_->url(), kCheckIntervals) + "in_flight_max = 3\n");
  // The table that is open there is [policy]: not a key of it.
  EXPECT_THAT(Refused(*app), HasSubstr("in_flight_max"));
  WriteBytes(app->file, RunningApp::ConfigText(endpoint_->url() + "/other", kCheckIntervals) +
                            "[resources]\nprofiles = true\n[endpoints.second]\n"
                            "url = \"http://localhost:1/fhir\"\n");
  const std::string answer = Reload(*app);
  EXPECT_THAT(answer, HasSubstr(R"("policy":"check-intervals")"));
  EXPECT_THAT(answer, HasSubstr(R"("needs_restart":["endpoint.url","endpoints.second"])"));
  EXPECT_THAT(Status(*app), HasSubstr(R"("needs_restart":["endpoint.url","endpoints.second"])"));
  Send(*app, Insertion("a", 0));
  while (endpoint_->desk().Dump("Device").empty()) {  // ctest bounds the time
  }
  EXPECT_THAT(endpoint_->desk().Dump("Device"), HasSubstr("\"profile\":["));
}

/// A folder of tz data of our own making, which the process takes for the system's.
class TzFolder {
 public:
  TzFolder() {
    std::filesystem::create_directories(folder_ / "Europe");
    ::setenv("TZDIR", folder_.path().c_str(), 1);
  }
  ~TzFolder() { ::unsetenv("TZDIR"); }
  TzFolder(const TzFolder&) = delete;
  TzFolder& operator=(const TzFolder&) = delete;

  void Write(const std::string& version, const std::string& london) const {
    WriteBytes(folder_ / "tzdata.zi", "# version " + version + "\n");
    WriteBytes(folder_ / "Europe/London", london);
  }

 private:
  TempFolder folder_;
};

/// When the next site check of the one line is due.
std::string CheckDue(const RunningApp& app) {
  const std::string lines = Lines(app);
  const std::size_t due = lines.find("\"rule\":\"site-check");
  const std::size_t at = lines.find("\"due_at\":\"", due);
  return due == std::string::npos ? lines : lines.substr(at + 10, 20);
}

// Hour(0) is 2026-03-02T09:00:00Z, and the next round 14:00 on the ward's wall.
TEST_F(ReloadTest, ANewRuleOfTheZoneMovesARoundByExactlyThatWhileItRuns) {
  const TzFolder tz;
  tz.Write("2026a", ZoneFile(0, Hour(-1000), 0));
  const auto app = Start();
  Send(*app, Insertion("a", 0));
  const std::string before = CheckDue(*app);
  EXPECT_THAT(Status(*app), HasSubstr(R"("tz_data":"2026a")"));

  tz.Write("2026b", ZoneFile(0, Hour(1), 1));  // from then on an hour ahead
  const std::string answer = Reload(*app);
  EXPECT_THAT(answer, HasSubstr(R"("tz_data":"2026b")"));
  EXPECT_THAT(answer, HasSubstr("\"differ\":1,"));
  EXPECT_EQ(before, FormatInstant(Hour(5)));
  EXPECT_EQ(CheckDue(*app), FormatInstant(Hour(4)));
}

TEST_F(ReloadTest, ANewRuleOfTheZoneCountsFromTheNextStartOnWithoutAnyEvent) {
  const TzFolder tz;
  tz.Write("2026a", ZoneFile(0, Hour(-1000), 0));
  {
    const auto app = Start();
    Send(*app, Insertion("a", 0));
    EXPECT_EQ(CheckDue(*app), FormatInstant(Hour(5)));
  }
  tz.Write("2026b", ZoneFile(0, Hour(1), 1));
  {
    const auto app = Start();
    while (CheckDue(*app) != FormatInstant(Hour(4))) {  // ctest bounds the time
    }
    std::string queue = "not asked yet";
    while (!queue.empty()) queue = AskSocket(app->socket, R"({"request":"queue"})");
    EXPECT_THAT(endpoint_->desk().Dump("Task"), HasSubstr("Due: 2026-03-02 14:00 (+01:00)"));
  }
  const std::uint64_t sent = endpoint_->desk().counts().transactions;
  tz.Write("2026c", ZoneFile(0, Hour(1), 1));  // the same rules under another name
  const auto app = Start();
  EXPECT_THAT(Status(*app), HasSubstr(R"("tz_data":"2026c")"));
  std::string status = "lines_to_follow";
  while (status.find("lines_to_follow") != std::string::npos) status = Status(*app);
  EXPECT_EQ(endpoint_->desk().counts().transactions, sent);
}

}  // namespace
}  // namespace dwell::test
