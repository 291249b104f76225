// The heart of delivery on its one thread, as far as it touches the world: the timer, the senders
// and the jobs of the store. What is to be done decides the engine. Inside of delivery.cc.
#pragma once

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <mutex>
#include <optional>
#include <vector>

#include "daemon/delivery/courier.h"
#include "daemon/delivery/delivery.h"
#include "daemon/delivery/engine.h"
#include "daemon/delivery/errand.h"
#include "daemon/delivery/route.h"

namespace dwell::delivery {

/// Everything but progress() runs on the thread of `loop`.
class Dispatcher {
 public:
  Dispatcher(boost::asio::io_context& loop, store::Writer& writer, const base::Clock& clock,
             Route route, const Endpoint& endpoint, Means means);

  /// The store may hold something to send.
  void Wake();
  /// Claims no more; what is in flight after `time_max` is cut off. The loop ends when all is
  /// settled. Once more: the new time counts.
  void Drain(std::chrono::milliseconds time_max);

  /// Safe from any thread.
  Progress progress() const;

 private:
  struct Sender : Wire {
    std::optional<Sending> sending;  ///< to be carried next
    bool is_running = false;
  };

  Times Now() const;
  /// Asks the engine what is to be done as of now, and does it.
  void Follow();
  void Start(Sending sending);
  boost::asio::awaitable<void> ReadStatement();
  boost::asio::awaitable<void> Run(Sender& sender);
  void Post(Visit visit);
  void Committed(Errand& errand, bool ok);
  void SetBell(Engine::Time bell);
  void Gather(std::chrono::milliseconds time);
  void CutOff();
  void Finish();
  void Publish();

  boost::asio::io_context& loop_;
  store::Writer& writer_;
  const base::Clock& clock_;
  std::int64_t endpoint_;  ///< whose lanes these are
  Means means_;
  Engine engine_;
  Courier courier_;
  std::vector<Sender> senders_;
  Wire asker_;  ///< reads the statement

  boost::asio::steady_timer timer_;
  std::optional<Engine::Time> bell_;  ///< what it is set for
  boost::asio::steady_timer gather_;
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_;

  mutable std::mutex progress_mutex_;
  Progress progress_;  ///< guarded by progress_mutex_
};

}  // namespace dwell::delivery
