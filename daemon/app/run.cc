#include "daemon/app/run.h"

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <cstdio>
#include <optional>

#include "daemon/app/app.h"
#include "daemon/app/arguments.h"
#include "daemon/app/notify.h"
#include "daemon/base/limits.h"
#include "daemon/base/log.h"
#include "daemon/config/exit_code.h"

namespace dwell::app {
namespace {

namespace asio = boost::asio;
using std::chrono::milliseconds;

/// For a person at a terminal or in the journal.
void Complain(const std::string& text) { std::fprintf(stderr, "dwelld: %s\n", text.c_str()); }

/// One run of the daemon, from the first signal handler to the exit code.
class Run {
 public:
  Run(const base::Clock& clock, config::Reader reader)
      : clock_(clock), reader_(std::move(reader)), signals_(io_), drain_timer_(io_) {
    boost::system::error_code ignored;
    signals_.add(SIGTERM, ignored);
    signals_.add(SIGINT, ignored);
    signals_.add(SIGHUP, ignored);
    std::signal(SIGPIPE, SIG_IGN);
  }

  int Go(const config::Config& config) {
    auto app =
        App::Start(io_, config, clock_, reader_, [this](const Error& error) { Fail(error); });
    if (!app) {
      Complain(app.error().message());
      return config::ExitCode(app.error().kind());
    }
    app_ = std::move(*app);
    WaitForSignal();
    log::Write(log::Level::kInfo, "started",
               {{"port", app_->port()}, {"operate_port", app_->operate_port()}});
    NotifyReady();
    io_.run();
    app_->Stop(milliseconds(0));
    app_.reset();
    if (exit_code_ == 0) log::Write(log::Level::kInfo, "stopped");
    return exit_code_;
  }

 private:
  using Steady = std::chrono::steady_clock;

  milliseconds TimeLeft() const {
    const auto left = std::chrono::duration_cast<milliseconds>(*drain_end_ - Steady::now());
    return std::max(left, milliseconds(0));
  }

  void WaitForSignal() {
    signals_.async_wait([this](const boost::system::error_code& error, int signal) {
      if (error) return;
      if (signal == SIGHUP) {
        Reload();
      } else {
        drain_end_ ? CutShort() : BeginDrain();
      }
      WaitForSignal();
    });
  }

  void NotifyReady() const {
    Notify("READY=1\nSTATUS=taking events on port " + std::to_string(app_->port()));
  }

  /// Who is on the way out has no use for new rules.
  void Reload() {
    if (drain_end_) return;
    const auto now = std::chrono::duration_cast<std::chrono::microseconds>(
        Steady::now().time_since_epoch());  // CLOCK_MONOTONIC, as sd_notify(3) asks
    Notify("RELOADING=1\nMONOTONIC_USEC=" + std::to_string(now.count()));
    app_->Reload([this] {
      if (!drain_end_) NotifyReady();
    });
  }

  void BeginDrain() {
    drain_end_ = Steady::now() + limits::kDrainTimeMax;
    log::Write(log::Level::kInfo, "draining");
    Notify("STOPPING=1\nSTATUS=finishing what is in hand");
    drain_timer_.expires_at(*drain_end_);
    drain_timer_.async_wait([this](const boost::system::error_code& error) {
      if (!error) CutShort();
    });
    app_->Drain([this] {
      // What is left of the drain's time is delivery's, for the answers it waits for. What does not
      // come by then is on disk as uncertain, which is no failure.
      drain_timer_.cancel();
      app_->StopDelivery(TimeLeft(), [this] { io_.stop(); });
    });
  }

  void CutShort() {
    exit_code_ = config::kDrainCutShort;
    log::Write(log::Level::kWarning, "drain-cut-short");
    io_.stop();
  }

  void Fail(const Error& error) {
    log::Write(log::Level::kError, "store-failed", {{"why", error}});
    exit_code_ = config::ExitCode(error.kind());
    io_.stop();
  }

  const base::Clock& clock_;
  const config::Reader reader_;
  asio::io_context io_{1};
  asio::signal_set signals_;
  asio::steady_timer drain_timer_;
  std::unique_ptr<App> app_;
  std::optional<Steady::time_point> drain_end_;
  int exit_code_ = 0;
};

}  // namespace

int RunDaemon(const std::vector<std::string>& arguments, const base::Clock& clock) {
  const Arguments read = ReadArguments(arguments);
  if (read.exit_code >= 0) return read.exit_code;
  const config::Reader reader = [file = read.config_file] {
    return config::LoadConfig(file, config::DwelldEnvironment());
  };
  Run run(clock, reader);  // from here on signals are heard
  const auto config = reader();
  if (!config) {
    for (const auto& finding : config.error()) Complain(config::FormatFinding(finding));
    return config::ExitCode(ErrorKind::kConfig);
  }
  return run.Go(*config);
}

}  // namespace dwell::app
