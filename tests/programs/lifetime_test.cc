// The daemon from its first word to its last: readiness, drain, signals, TLS.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/socket.h>
#include <sys/un.h>

#include <atomic>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <condition_variable>
#include <mutex>
#include <thread>

#include "daemon/net/http_client.h"
#include "tests/daemon/intake/http_rig.h"
#include "tests/endpoint/certificates.h"
#include "tests/programs/installation.h"

namespace dwell::test {
namespace {

using testing::HasSubstr;

/// What the service manager hears, by sd_notify(3): datagrams on a socket of the file system.
class Manager {
 public:
  explicit Manager(const std::string& path)
      : variable_("NOTIFY_SOCKET=" + path), socket_(::socket(AF_UNIX, SOCK_DGRAM, 0)) {
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    path.copy(address.sun_path, sizeof address.sun_path - 1);
    timeval patience{.tv_sec = 60, .tv_usec = 0};
    ::setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    EXPECT_EQ(::bind(socket_, reinterpret_cast<sockaddr*>(&address), sizeof address), 0);
  }
  ~Manager() { ::close(socket_); }
  Manager(const Manager&) = delete;
  Manager& operator=(const Manager&) = delete;

  std::string Hear() const {
    char message[512];
    const ssize_t bytes = ::recv(socket_, message, sizeof message, 0);
    return bytes < 0 ? std::string() : std::string(message, static_cast<std::size_t>(bytes));
  }
  const std::string& variable() const { return variable_; }

 private:
  std::string variable_;
  int socket_;
};

TEST(Lifetime, TheServiceManagerHearsOfReadinessAndOfTheEnd) {
  Installation site;
  const Manager manager(site.folder / "notify");
  const auto daemon = site.Start({manager.variable()});
  EXPECT_THAT(manager.Hear(), testing::StartsWith("READY=1\n"));
  daemon->Signal(SIGTERM);
  EXPECT_THAT(manager.Hear(), testing::StartsWith("STOPPING=1\n"));
  EXPECT_EQ(daemon->Wait(), 0);
  EXPECT_THAT(daemon->output(), HasSubstr("\"event\":\"stopped\""));
}

TEST(Lifetime, ASignalHasTheFilesReadAgainAndABrokenOneChangesNothing) {
  Installation site;
  const Manager manager(site.folder / "notify");
  const auto daemon = site.Start({manager.variable()});
  EXPECT_THAT(manager.Hear(), testing::StartsWith("READY=1\n"));
  const std::string policy = site.folder / "policy.toml";
  const std::string good = ReadBytes(policy);

  WriteBytes(policy, "name = 5\n");
  daemon->Signal(SIGHUP);
  EXPECT_THAT(manager.Hear(), testing::MatchesRegex("RELOADING=1\nMONOTONIC_USEC=[0-9]+"));
  EXPECT_THAT(manager.Hear(), testing::StartsWith("READY=1\n"));
  EXPECT_TRUE(daemon->ReadUntil("\"event\":\"rules-not-read-again\""));
  EXPECT_TRUE(daemon->ReadUntil("policy.toml:1: /name"));
  EXPECT_THAT(site.Dwell({"status"}).output, HasSubstr("common-practice"));
  EXPECT_THAT(site.Dwell({"status"}).output, HasSubstr("reload refused"));

  WriteBytes(policy, good + "\n[wards.alder.midline]\ndwell_max_h = 100\n");
  WriteBytes(site.config, ReadBytes(site.config) + "[reconcile]\nevery_h = 3\n");
  daemon->Signal(SIGHUP);
  EXPECT_TRUE(daemon->ReadUntil("\"event\":\"rules-read-again\""));
  EXPECT_TRUE(daemon->ReadUntil("reconcile.every_h"));
  const Ended reload = site.Dwell({"reload", "--by", "op-3", "--why", "limits of May"});
  EXPECT_EQ(reload.code, 0);
  EXPECT_THAT(reload.output, HasSubstr("in force: policy common-practice, version 1; tz data "));
  EXPECT_THAT(reload.output, HasSubstr("needs a restart: reconcile.every_h\n"));
  EXPECT_THAT(reload.output, HasSubstr("0 lines derived again"));
  daemon->Signal(SIGTERM);
  EXPECT_EQ(daemon->Wait(), 0);
}

TEST(Lifetime, ASignalToReadAgainDoesNotCutADrainShort) {
  Installation site;
  const auto daemon = site.Start();
  RawClient slow(site.port);
  slow.Send(
      "POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
      "Content-Length: 2\r\nExpect: 100-continue\r\n\r\n");
  EXPECT_EQ(StatusOf(slow.Response()), 100);
  daemon->Signal(SIGTERM);
  EXPECT_TRUE(daemon->ReadUntil("\"event\":\"draining\""));
  daemon->Signal(SIGHUP);
  EXPECT_EQ(site.Dwell({"status"}).code, 0);
  slow.Send("{}");
  EXPECT_EQ(daemon->Wait(), 0) << daemon->output();
  EXPECT_EQ(daemon->output().find("drain-cut-short"), std::string::npos);
}

/// Senders that go on until they are turned away, and what was acknowledged to them.
class Load {
 public:
  explicit Load(std::uint16_t port) {
    for (int i = 0; i < 4; ++i) threads_.emplace_back([this, port, i] { Send(port, i); });
  }
  ~Load() { Join(); }
  Load(const Load&) = delete;
  Load& operator=(const Load&) = delete;

  void WaitFor(std::size_t count) {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return acknowledged_.size() >= count || ended_ == 4; });
  }
  std::vector<std::string> Join() {
    for (auto& thread : threads_) thread.join();
    threads_.clear();
    return acknowledged_;
  }

 private:
  void Send(std::uint16_t port, int sender) {
    RawClient client(port);
    int status = 201;
    for (int i = 0; status == 201; ++i) {
      const std::string id = "e" + std::to_string(sender) + "-" + std::to_string(i);
      client.Send(Post(Raw(Insertion(id, 0, "line-" + id))));
      status = StatusOf(client.Response());
      if (status == 201) {
        const std::scoped_lock lock(mutex_);
        acknowledged_.push_back(id);
      }
      changed_.notify_all();
    }
    EXPECT_TRUE(status == 503 || status == 0) << status;
    const std::scoped_lock lock(mutex_);
    ++ended_;
    changed_.notify_all();
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  std::vector<std::string> acknowledged_;
  int ended_ = 0;
  std::vector<std::thread> threads_;
};

TEST(Lifetime, ATerminationUnderLoadLosesNothingThatWasAcknowledged) {
  Installation site;
  std::vector<std::string> acknowledged;
  {
    const auto daemon = site.Start();
    Load load(site.port);
    load.WaitFor(200);
    daemon->Signal(SIGTERM);
    EXPECT_EQ(daemon->Wait(), 0) << daemon->output();
    acknowledged = load.Join();
  }
  ASSERT_GE(acknowledged.size(), 200U);
  const auto daemon = site.Start();
  RawClient client(site.port);
  for (const std::string& id : acknowledged) {
    std::string story;
    do {  // until it has arrived: a story without an end hangs here, and the test's time ends it
      client.Send(Get("/events/" + id + "?source=ward-tablets"));
      const std::string response = client.Response();
      ASSERT_EQ(StatusOf(response), 200) << id;
      story = BodyOf(response);
    } while (story.find("\"state\":\"completed\"") == std::string::npos);
  }
  daemon->Signal(SIGTERM);
  EXPECT_EQ(daemon->Wait(), 0);
}

TEST(Lifetime, ASecondSignalCutsTheDrainShort) {
  Installation site;
  const auto daemon = site.Start();
  RawClient slow(site.port);  // a request in hand that never ends
  slow.Send(
      "POST /events HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n"
      "Content-Length: 100\r\nExpect: 100-continue\r\n\r\n");
  EXPECT_EQ(StatusOf(slow.Response()), 100);
  daemon->Signal(SIGTERM);
  EXPECT_TRUE(daemon->ReadUntil("\"event\":\"draining\""));
  daemon->Signal(SIGTERM);
  EXPECT_EQ(daemon->Wait(), 75);
  EXPECT_THAT(daemon->output(), HasSubstr("\"event\":\"drain-cut-short\""));
  EXPECT_EQ(site.Start()->output().find("error"), std::string::npos);
}

/// The status of one POST over TLS; 0 without an answer.
int PostOverTls(std::uint16_t port, const std::string& ca_file, const std::string& event) {
  auto tls = net::TlsSource::Open(net::TlsSource::End::kClient, {{}, {}, ca_file});
  EXPECT_TRUE(tls.has_value());
  boost::asio::io_context io;
  net::HttpClient client({"localhost", std::to_string(port), true, {}},
                         std::make_shared<net::TlsSource>(std::move(*tls)));
  net::Request request;
  request.method = "POST";
  request.target = "/events";
  request.fields = "Content-Type: application/json\r\n";
  request.body = event;
  int status = 0;
  const auto exchange = [&]() -> boost::asio::awaitable<void> {
    const net::Exchange answer = co_await client.Send(request, std::chrono::seconds(20));
    status = answer.status;
    io.stop();  // the connection is kept for a next request, and its deadline with it
  };
  boost::asio::co_spawn(io, exchange, boost::asio::detached);
  io.run();
  return status;
}

TEST(Lifetime, EventsAreTakenOverTlsFromThoseWhoTrustTheCertificate) {
  const TempFolder keys;
  practice::Authority authority(keys.path(), "authority");
  practice::Authority stranger(keys.path(), "stranger");
  const auto files = authority.Issue("localhost", -1, 1);
  Installation site("certificate = \"" + files.certificate + "\"\nprivate_key = \"" + files.key +
                    "\"\n");
  EXPECT_EQ(site.Dwell({"check"}).code, 0);
  const auto daemon = site.Start();
  EXPECT_EQ(PostOverTls(site.port, authority.file(), Raw(Insertion("a", 0))), 201);
  EXPECT_EQ(PostOverTls(site.port, stranger.file(), Raw(Insertion("b", 0, "line-2"))), 0);
  RawClient plain(site.port);
  plain.Send(Post(Raw(Insertion("c", 0, "line-3"))));
  EXPECT_NE(StatusOf(plain.Response()), 201);
  EXPECT_THAT(site.Dwell({"status", "--json"}).output, HasSubstr("\"events\":1,"));
  daemon->Signal(SIGTERM);
  EXPECT_EQ(daemon->Wait(), 0);
}

TEST(Lifetime, ACertificateIsReplacedWithoutARestartAndAPairThatDoesNotMatchIsNotTaken) {
  const TempFolder keys;
  practice::Authority first(keys.path(), "first");
  practice::Authority second(keys.path(), "second");
  const auto files = first.Issue("localhost", -1, 1);
  const auto fresh = second.Issue("localhost", -1, 1);
  Installation site("certificate = \"" + files.certificate + "\"\nprivate_key = \"" + files.key +
                    "\"\n");
  const auto daemon = site.Start();
  EXPECT_EQ(PostOverTls(site.port, first.file(), Raw(Insertion("a", 0))), 201);
  WriteBytes(files.certificate, ReadBytes(fresh.certificate));
  EXPECT_EQ(PostOverTls(site.port, first.file(), Raw(Insertion("b", 0, "line-2"))), 201)
      << "the old pair serves until the new one is whole";
  EXPECT_TRUE(daemon->ReadUntil("\"event\":\"tls-files-not-usable\""));
  WriteBytes(files.key, ReadBytes(fresh.key));
  EXPECT_EQ(PostOverTls(site.port, second.file(), Raw(Insertion("c", 0, "line-3"))), 201);
  EXPECT_TRUE(daemon->ReadUntil("\"event\":\"tls-files-read-again\""));
  EXPECT_EQ(PostOverTls(site.port, first.file(), Raw(Insertion("d", 0, "line-4"))), 0);
  daemon->Signal(SIGTERM);
  EXPECT_EQ(daemon->Wait(), 0);
}

TEST(Lifetime, ACertificateWithoutItsKeyIsAConfigurationError) {
  const TempFolder keys;
  practice::Authority authority(keys.path(), "authority");
  const auto files = authority.Issue("localhost", -1, 1);
  const Installation site("certificate = \"" + files.certificate + "\"\nprivate_key = \"" +
                          files.certificate + "\"\n");
  const Ended ended = RunToEnd({DwelldPath(), "--config", site.config});
  EXPECT_EQ(ended.code, 78) << ended.output;
}

}  // namespace
}  // namespace dwell::test
