#include "daemon/delivery/delivery.h"

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <random>
#include <thread>

#include "daemon/base/thread_name.h"
#include "daemon/delivery/dispatcher.h"
#include "schemas/base/check.h"

namespace dwell::delivery {
namespace asio = boost::asio;
namespace {

class RunningDelivery final : public Delivery {
 public:
  RunningDelivery(store::Writer& writer, const base::Clock& clock, Route route,
                  const Endpoint& endpoint, Means means)
      : dispatcher_(loop_, writer, clock, std::move(route), endpoint, std::move(means)),
        thread_([this] {
          base::NameThread("delivery");
          loop_.run();
        }) {
    Wake();
  }
  ~RunningDelivery() override { Stop(std::chrono::milliseconds(0)); }

  void Wake() override {
    if (woken_.exchange(true)) return;  // the one before is still on its way
    asio::post(loop_, [this] {
      woken_ = false;
      dispatcher_.Wake();
    });
  }

  void Drain(std::chrono::milliseconds time_max) override {
    draining_ = true;
    asio::post(loop_, [this, time_max] { dispatcher_.Drain(time_max); });
  }

  void Join() override {
    if (thread_.joinable()) thread_.join();
  }

  Progress progress() const override { return dispatcher_.progress(); }

  void Ask(std::function<void()> moved) override {
    if (draining_) return moved();
    asio::post(loop_, std::move(moved));
  }

 private:
  asio::io_context loop_{1};
  std::atomic<bool> woken_{false};
  std::atomic<bool> draining_{false};
  Dispatcher dispatcher_;
  std::thread thread_;  // last: it uses all of the above
};

Means Complete(Means means) {
  if (!means.random) {
    means.random = [engine = std::mt19937_64(std::random_device()())]() mutable {
      return engine();
    };
  }
  if (!means.steady) means.steady = [] { return std::chrono::steady_clock::now(); };
  return means;
}

}  // namespace

Result<std::unique_ptr<Delivery>> Delivery::Start(store::Writer& writer, const base::Clock& clock,
                                                  const Endpoint& endpoint, Means means) {
  CHECK(endpoint.in_flight_max > 0);
  Result<Route> route = PrepareRoute(endpoint);
  if (!route) return route.error();
  return std::unique_ptr<Delivery>(std::make_unique<RunningDelivery>(
      writer, clock, std::move(*route), endpoint, Complete(std::move(means))));
}

}  // namespace dwell::delivery
