// An admin socket and who asks it by raw bytes, for tests.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <sys/un.h>

#include "daemon/admin/admin.h"
#include "tests/daemon/intake/http_rig.h"

namespace dwell::test {

inline constexpr const char* kEnd = "{\"end\":true}\n";

inline int ConnectTo(const std::string& path) {
  const int socket = ::socket(AF_UNIX, SOCK_STREAM, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  path.copy(address.sun_path, sizeof address.sun_path - 1);
  timeval patience{.tv_sec = 20, .tv_usec = 0};
  ::setsockopt(socket, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
  if (::connect(socket, reinterpret_cast<sockaddr*>(&address), sizeof address) == 0) return socket;
  ::close(socket);
  return -1;
}

/// An admin socket over the store of an HttpRig.
class AdminTest : public testing::Test {
 protected:
  AdminTest() {
    services_.pipeline = &rig_.pipeline;
    services_.ledger = &rig_.ledger();
    services_.writer = &rig_.writer();
    services_.clock = &rig_.clock;
    Know(Shelf::Get().codes);
    services_.reload = [this](const std::string& by, const std::string& why, const auto& done) {
      ordered_ = by + ": " + why;
      done(reloaded_);
    };
    services_.next_followed = [this](const auto& told) {
      told(followed_.front());
      followed_.erase(followed_.begin());
    };
    services_.in_force = [] {
      return admin::InForce{"p", "2", "2026f", Hour(1), Hour(2), {"store.path"}, {{3, 9, "full"}}};
    };
    services_.endpoints = [] { return std::vector<admin::EndpointState>{{"main", {}}}; };
    services_.caught_up_to = [] { return std::optional<Instant>(Hour(0)); };
    services_.cleaned_up = [] { return std::optional(retention::CleanUp{Hour(1), 7, 3, 30, 2}); };
    rig_.OnNet([this] { opened_ = Open(); });
  }
  ~AdminTest() override {
    rig_.OnNet([this] { opened_ = Error(); });
  }

  void Know(const codes::CodeMap& codes) {
    services_.knows = [&codes](const std::string& group, const std::string& code) {
      return codes.Knows(group, code);
    };
  }

  Result<std::unique_ptr<admin::Admin>> Open() {
    return admin::Admin::Open(rig_.executor(), path_, services_);
  }

  /// Has everything that may be sent refused by the endpoint.
  void Refuse() {
    std::promise<void> done;
    rig_.writer().Post({[](store::Store& store) -> Result<void> {
                          auto claimed = store.Claim(0, Hour(1000), 1000);
                          if (claimed.has_error()) return claimed.error();
                          for (const store::BundleRecord& bundle : claimed.value()) {
                            store::Settlement held;
                            held.bundle_seq = bundle.seq;
                            held.state = store::DeliveryState::kOnHold;
                            held.why = "refused";
                            Result<void> settled = store.Settle(held);
                            if (settled.has_error()) return settled;
                          }
                          return {};
                        },
                        [&done](const Result<void>& result) {
                          EXPECT_TRUE(result.has_value());
                          done.set_value();
                        }});
    done.get_future().wait();
  }

  /// The whole answer to one request.
  std::string Ask(const std::string& request) {
    const int socket = ConnectTo(path_);
    EXPECT_GE(socket, 0);
    const std::string line = request + "\n";
    EXPECT_EQ(::send(socket, line.data(), line.size(), MSG_NOSIGNAL),
              static_cast<ssize_t>(line.size()));
    std::string answer;
    char chunk[4096];
    while (answer.find("{\"end\":true") == std::string::npos || answer.back() != '\n') {
      const ssize_t bytes = ::recv(socket, chunk, sizeof chunk, 0);
      if (bytes <= 0) break;
      answer.append(chunk, static_cast<std::size_t>(bytes));
    }
    ::close(socket);
    return answer;
  }

  TempFolder folder_;
  std::string path_ = folder_ / "admin.socket";
  HttpRig rig_;
  admin::Services services_;
  std::string ordered_;
  std::vector<admin::Followed> followed_;
  Result<std::string> reloaded_ = std::string(R"({"policy":"p","version":"2"})");
  Result<std::unique_ptr<admin::Admin>> opened_ = Error();
};

}  // namespace dwell::test
