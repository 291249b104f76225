// The daemon as a whole: builds every part from the configuration, and takes it down in the right
// order.
#pragma once

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <functional>
#include <memory>

#include "daemon/base/clock.h"
#include "daemon/config/rereading.h"
#include "schemas/base/result.h"

namespace dwell::app {

/// Used on the thread that runs the io_context.
class App {
 public:
  /// Opens the store, starts delivery and the clock, then listens. `on_fatal` is called once, on
  /// the io_context's thread, when the store has failed for good: nothing more is acknowledged.
  /// `reader` gives the configuration as it is when it is to be read again.
  /// `io` and `clock` outlive the app. Errors: those of the parts.
  static Result<std::unique_ptr<App>> Start(boost::asio::io_context& io,
                                            const config::Config& config, const base::Clock& clock,
                                            config::Reader reader,
                                            std::function<void(const Error&)> on_fatal);
  ~App();

  /// Where the intake listens.
  std::uint16_t port() const;
  /// Where health and metrics are; 0: nowhere.
  std::uint16_t operate_port() const;
  /// Where Tasks are searched for; 0: nowhere.
  std::uint16_t search_port() const;
  /// See Reloading::Reload(); what came of it is logged, and shown by `dwell status`. `done` as
  /// soon as the new rules count, or when it was refused.
  void Reload(std::function<void()> done);
  /// Takes nothing new, answers what is in hand; then `done`.
  void Drain(std::function<void()> done);
  /// Stops delivery while the io_context goes on: attempts in flight get `time_max`. Then `done`,
  /// on the io_context's thread. Stop() before that cuts it short.
  void StopDelivery(std::chrono::milliseconds time_max, std::function<void()> done);
  /// Stops delivery (attempts in flight get `time_max`), writes everything down, closes the store.
  /// The intake is cut off if it is not drained.
  void Stop(std::chrono::milliseconds time_max);

 private:
  struct Parts;
  explicit App(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

}  // namespace dwell::app
