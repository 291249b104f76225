// The whole daemon against the practice endpoint, over its real sockets.
#include "daemon/app/app.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <future>
#include <thread>

#include "daemon/command/admin_client.h"
#include "daemon/command/submit.h"
#include "tests/daemon/intake/http_rig.h"
#include "tests/endpoint/practice_endpoint.h"

namespace dwell::test {
namespace {

/// A daemon on a thread of its own, from its configuration file to its closing.
class RunningApp {
 public:
  RunningApp(const std::string& folder, const std::string& endpoint_url, const base::Clock& clock) {
    const auto config = config::ReadConfig(
        folder + "/dwelld.toml",
        "[site]\nnamespace = \"https://fernhill.example/dwelld\"\nzone = \"Europe/London\"\n"
        "[store]\npath = \"store.db\"\n[intake]\nport = 0\n[endpoint]\nurl = \"" +
            endpoint_url +
            "\"\n[policy]\nfile = \"" DWELL_SOURCE_DIR
            "/deploy/config/policy-common-practice.toml\"\n",
        {});
    socket = config->admin.socket;
    app_ = std::move(app::App::Start(io_, *config, clock, [](const Error& error) {
                       ADD_FAILURE() << error.message();
                     }).value());
    port = app_->port();
    thread_ = std::thread([this] { io_.run(); });
  }
  ~RunningApp() {
    boost::asio::post(io_, [this] { app_->Drain([this] { io_.stop(); }); });
    thread_.join();
    app_->Stop(std::chrono::seconds(20));
  }

  std::uint16_t port = 0;
  std::string socket;

 private:
  boost::asio::io_context io_{1};
  std::unique_ptr<app::App> app_;
  std::thread thread_;
};

std::string AskSocket(const std::string& socket, const std::string& request) {
  std::string rows;
  const auto asked =
      command::AskDaemon(socket, request, [&](std::string_view row) { rows.append(row) += '\n'; });
  EXPECT_TRUE(asked.has_value()) << asked.error().message();
  return rows;
}

TEST(App, AnEventArrivesAtTheEndpointAndIsRememberedAcrossARestart) {
  const auto endpoint = std::move(practice::PracticeEndpoint::Start({}).value());
  const TempFolder folder;
  const ManualClock clock(Hour(2));
  const std::string event = Raw(Insertion("a", 0));
  {
    const RunningApp app(folder.path(), endpoint->url(), clock);
    RawClient client(app.port);
    client.Send(Post(event));
    EXPECT_EQ(StatusOf(client.Response()), 201);
    std::string story;
    while (story.find("\"state\":\"completed\"") == std::string::npos) {  // ctest bounds the time
      client.Send(Get("/events/a?source=ward-tablets"));
      story = BodyOf(client.Response());
    }
    EXPECT_EQ(AskSocket(app.socket, R"({"request":"queue"})"), "");
  }
  const RunningApp app(folder.path(), endpoint->url(), clock);
  RawClient client(app.port);
  client.Send(Post(event));
  EXPECT_EQ(StatusOf(client.Response()), 200);
  EXPECT_THAT(AskSocket(app.socket, R"({"request":"lines"})"),
              testing::HasSubstr("\"phase\":\"in-place\""));
}

TEST(Submit, CutsLinesIntoPortionsAndLeavesOneEventWhole) {
  const auto portions = command::Cut("{}\n{}\n\n{}\n", 2, 1000);
  ASSERT_EQ(portions.size(), 2U);
  EXPECT_EQ(portions[0].body, "{}\n{}\n");
  EXPECT_EQ(portions[1].first_line, 3U);
  EXPECT_EQ(portions[1].body, "\n{}\n");
  const auto one = command::Cut("{\n \"a\": 1\n}\n", 2, 1000);
  ASSERT_EQ(one.size(), 1U);
  EXPECT_TRUE(one[0].one_event);
  EXPECT_EQ(one[0].body, "{\n \"a\": 1\n}\n");
  EXPECT_TRUE(command::Cut("\n\n", 2, 1000).empty());
}

}  // namespace
}  // namespace dwell::test
