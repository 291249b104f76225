// Operations: watches that every thread of the daemon moves, tells the service manager so, looks
// for sources that fell silent, and answers /livez, /readyz and /metrics on a listener of its own.
// On a thread of its own, so that it answers also when others are stuck.
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <chrono>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/base/limits.h"
#include "daemon/intake/pipeline.h"
#include "daemon/operate/facts.h"
#include "daemon/store/writer.h"
#include "schemas/base/result.h"

namespace dwell::operate {

/// Asks a thread to call `moved` itself, from wherever it is.
using AskThread = std::function<void(std::function<void()> moved)>;

struct Delivery {
  std::string endpoint;
  AskThread ask;
};

/// What is watched and told of; everything outlives the Operate, and is safe from any thread.
struct Services {
  boost::asio::any_io_executor net;  ///< of the thread that takes events
  store::Writer* writer = nullptr;
  intake::Pipeline* pipeline = nullptr;
  const base::Clock* clock = nullptr;
  std::vector<Delivery> deliveries;
  AskThread alarm;
  std::function<std::vector<EndpointFacts>()> endpoints;
  std::function<std::optional<Instant>()> caught_up_to;  ///< see alarm::Alarm
  /// How the last reading again of the rules went; empty: nobody asked for one.
  std::function<std::optional<bool>()> reloaded;
  /// Tells the service manager that all is well (WATCHDOG=1).
  std::function<void()> ping;
  std::string fhir_version;
};

struct Options {
  std::string address;     ///< an IP address of this machine; empty: no listener
  std::uint16_t port = 0;  ///< 0: any free one
  /// What the service manager grants between two pings; empty: there is no watchdog.
  std::optional<std::chrono::microseconds> watchdog;
  /// A source that was not heard for longer is silent; empty: as it is used to.
  std::optional<std::chrono::minutes> silent_after;
  std::chrono::milliseconds beat = limits::kBeat;
  std::chrono::milliseconds stuck_after = limits::kStuckAfter;
  std::chrono::milliseconds survey_time_max = limits::kSurveyTimeMax;
};

class Operate {
 public:
  /// Errors: those of intake::Listener::Open().
  static Result<std::unique_ptr<Operate>> Start(Services services, Options options);
  /// Watches and listens no more.
  ~Operate();
  Operate(const Operate&) = delete;
  Operate& operator=(const Operate&) = delete;

  /// Where the listener is; 0: there is none.
  std::uint16_t port() const;

 private:
  struct Impl;
  explicit Operate(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace dwell::operate
