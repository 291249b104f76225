// The heart of delivery on its one thread: claims bundles from the store, hands them to at most
// in_flight_max senders, settles what came of them. Inside of delivery.cc.
#pragma once

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <deque>
#include <memory>
#include <mutex>
#include <vector>

#include "daemon/delivery/courier.h"
#include "daemon/delivery/delivery.h"
#include "daemon/delivery/health.h"
#include "daemon/delivery/route.h"

namespace dwell::delivery {

/// Everything but progress() runs on the thread of `loop`.
class Dispatcher {
 public:
  Dispatcher(boost::asio::io_context& loop, store::Writer& writer, const base::Clock& clock,
             Route route, std::size_t in_flight_max, Means means);

  /// Looks for something to do. `news`: the store may hold something to send.
  void Step(bool news);
  /// Claims no more; what is in flight after `time_max` is cut off. The loop ends when all is
  /// settled. Once more: the new time counts.
  void Drain(std::chrono::milliseconds time_max);

  /// Safe from any thread.
  Progress progress() const;

 private:
  struct Sender : Wire {
    bool busy = false;
  };
  struct Batch;

  std::size_t Wanted() const;
  bool IsUrgent(std::size_t wanted) const;
  void StartSenders();
  void PostBatch(std::size_t wanted);
  void Committed(Batch& batch, bool ok);
  void WaitUntilReady(std::optional<Instant> next_ready);
  void GiveBackFetched();
  void RingAfter(boost::asio::steady_timer& timer, std::chrono::milliseconds wait);
  void FinishWhenDone();

  boost::asio::awaitable<void> Run(Sender& sender);
  void Weigh(const Verdict& verdict);
  std::chrono::milliseconds WaitOf(const Verdict& verdict, const store::BundleRecord& bundle);
  void Note(const Verdict& verdict);

  boost::asio::io_context& loop_;
  store::Writer& writer_;
  const base::Clock& clock_;
  Means means_;
  Health health_;
  Courier courier_;

  std::vector<Sender> senders_;
  std::deque<store::BundleRecord> fetched_;  ///< claimed, not yet sent
  std::vector<store::Settlement> settled_;   ///< not yet told to the store
  std::size_t active_ = 0;                   ///< senders at work
  bool batch_out_ = false;                   ///< the store is working for us
  bool store_rests_ = false;                 ///< after a failed commit, for a moment
  bool more_ = true;                         ///< the store may hold more
  bool draining_ = false;

  boost::asio::steady_timer gather_;  ///< lets settlements gather
  bool gathering_ = false;
  boost::asio::steady_timer ready_;  ///< the next bundle becomes ready
  boost::asio::steady_timer pause_;  ///< the endpoint's pause ends
  boost::asio::steady_timer drain_;  ///< the drain time is over
  boost::asio::steady_timer rest_;   ///< the store may be asked again
  boost::asio::executor_work_guard<boost::asio::io_context::executor_type> work_;

  mutable std::mutex progress_mutex_;
  Progress progress_;  ///< guarded by progress_mutex_
};

}  // namespace dwell::delivery
