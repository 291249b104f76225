// A whole daemon on a thread, asked over its real sockets, for tests.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <thread>

#include "daemon/app/app.h"
#include "daemon/command/admin_client.h"
#include "tests/daemon/intake/http_rig.h"
#include "tests/endpoint/practice_endpoint.h"

namespace dwell::test {

inline constexpr const char* kCommonPractice =
    DWELL_SOURCE_DIR "/deploy/config/policy-common-practice.toml";

/// A daemon on a thread of its own, from its configuration file to its closing.
class RunningApp {
 public:
  RunningApp(const std::string& folder, const std::string& endpoint_url, const base::Clock& clock,
             const std::string& more = "", const std::string& policy = kCommonPractice) {
    file = folder + "/dwelld.toml";
    WriteBytes(file, ConfigText(endpoint_url, policy) + more);
    const config::Reader reader = [name = file] { return config::LoadConfig(name, {}); };
    const auto config = reader();
    socket = config->admin.socket;
    app_ = std::move(app::App::Start(io_, *config, clock, reader, [](const Error& error) {
                       ADD_FAILURE() << error.message();
                     }).value());
    port = app_->port();
    search_port = app_->search_port();
    thread_ = std::thread([this] { io_.run(); });
  }
  ~RunningApp() {
    boost::asio::post(io_, [this] { app_->Drain([this] { io_.stop(); }); });
    thread_.join();
    app_->Stop(std::chrono::seconds(20));
  }

  static std::string ConfigText(const std::string& endpoint_url, const std::string& policy) {
    return "[site]\nnamespace = \"https://fernhill.example/dwelld\"\nzone = \"Europe/London\"\n"
           "[store]\npath = \"store.db\"\n[intake]\nport = 0\n[endpoint]\nurl = \"" +
           endpoint_url + "\"\n[policy]\nfile = \"" + policy + "\"\n";
  }

  std::string file;  ///< the configuration
  std::uint16_t port = 0, search_port = 0;
  std::string socket;

 private:
  boost::asio::io_context io_{1};
  std::unique_ptr<app::App> app_;
  std::thread thread_;
};

inline std::string AskSocket(const std::string& socket, const std::string& request) {
  std::string rows;
  const auto asked =
      command::AskDaemon(socket, request, [&](std::string_view row) { rows.append(row) += '\n'; });
  EXPECT_TRUE(asked.has_value()) << asked.error().message();
  return rows;
}

}  // namespace dwell::test
