// A folder with a configuration of an invented site, and a dwelld started on it.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <string>

#include "tests/endpoint/practice_endpoint.h"
#include "tests/programs/program.h"
#include "tests/support/temp_folder.h"

namespace dwell::test {

struct Installation {
  /// `more` is further TOML, for [intake] first.
  explicit Installation(const std::string& more = "") {
    WriteBytes(config,
               "[site]\nnamespace = \"https://fernhill.example/dwelld\"\n"
               "zone = \"Europe/London\"\n[store]\npath = \"store.db\"\n"
               "[endpoint]\nurl = \"" +
                   endpoint->url() + "\"\n[policy]\nfile = \"policy.toml\"\n[intake]\nport = 0\n" +
                   more);
    WriteBytes(folder / "policy.toml",
               ReadBytes(DWELL_SOURCE_DIR "/deploy/config/policy-common-practice.toml"));
  }

  /// Starts the daemon and waits until it takes events.
  std::unique_ptr<Program> Start(const std::vector<std::string>& environment = {}) {
    auto daemon = std::make_unique<Program>(
        std::vector<std::string>{DwelldPath(), "--config", config}, environment);
    const std::string started = "\"event\":\"started\",\"port\":";
    EXPECT_TRUE(daemon->ReadUntil(started) && daemon->ReadUntil("}\n")) << daemon->output();
    const std::size_t at = daemon->output().find(started);
    if (at != std::string::npos) {
      port = static_cast<std::uint16_t>(std::stoi(daemon->output().substr(at + started.size())));
    }
    return daemon;
  }

  /// Runs `dwell` for this configuration.
  Ended Dwell(std::vector<std::string> arguments) const {
    arguments.insert(arguments.begin(), DwellPath());
    arguments.insert(arguments.end(), {"--config", config});
    return RunToEnd(arguments);
  }

  TempFolder folder;
  std::string config = folder / "dwelld.toml";
  std::unique_ptr<practice::PracticeEndpoint> endpoint =
      std::move(practice::PracticeEndpoint::Start({}).value());
  std::uint16_t port = 0;
};

}  // namespace dwell::test
