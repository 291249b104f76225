// Reads resources at the endpoint, a few at a time, with the same TLS, credentials and look-ups as
// deliveries. Inside of the reconciler; on the thread of its loop.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/delivery/found_cache.h"
#include "daemon/delivery/health.h"
#include "daemon/delivery/route.h"
#include "daemon/reconcile/as_written.h"
#include "daemon/reconcile/run.h"

namespace dwell::reconcile {

class Reader {
 public:
  /// `progress` tells in which style the endpoint is written to. `means` complete; `clock` outlives
  /// it.
  Reader(boost::asio::io_context& loop, delivery::Route route, const delivery::Endpoint& endpoint,
         std::function<delivery::Progress()> progress, const base::Clock& clock,
         delivery::Means means);

  /// Reads and compares items of the run for a moment (limits::kReadStepTime), or until there are
  /// none left. What it found is in `step` and in the run; what could not be read now stays in the
  /// run's items, with the reason in `step.waiting`.
  boost::asio::awaitable<void> Work(Run& run, Step& step);

  /// Reads in progress fail, and no more begin.
  void Close();

 private:
  struct Wire {
    std::unique_ptr<net::HttpClient> client;
    std::uint64_t generation = 0;  ///< of the token used last
  };
  /// Whom a search led to; without a value: it could not be asked now.
  using Answer = std::optional<std::string>;

  void LetGo();
  boost::asio::awaitable<void> WaitForPause();
  boost::asio::awaitable<void> WorkOn(Wire& wire, Run& run, Step& step,
                                      delivery::Health::Time until);
  boost::asio::awaitable<bool> ReadOne(Wire& wire, Item& item, Run& run, Step& step);
  boost::asio::awaitable<std::optional<ReadBack>> Read(Wire& wire, const Item& item,
                                                       const AsWritten& written, Step& step);
  boost::asio::awaitable<std::optional<Compared>> CompareWith(Wire& wire, const AsWritten& written,
                                                              const ReadBack& back, Step& step);
  void Tell(std::vector<Finding> findings, Run& run, Step& step) const;
  boost::asio::awaitable<Answer> LookUp(Wire& wire, const std::string& search, Step& step);
  boost::asio::awaitable<bool> Admit(Step& step);
  boost::asio::awaitable<net::Exchange> Get(Wire& wire, const std::string& target);
  bool IsTokenOld(const Wire& wire, int status);
  void Down(const std::string& why, std::optional<std::chrono::seconds> asked, Step& step);

  boost::asio::io_context& loop_;
  std::string target_;  ///< path of the base URL, without a slash at its end
  std::string url_;
  std::function<delivery::Progress()> progress_;
  delivery::Progress style_;  ///< as of this moment's work
  std::chrono::milliseconds time_max_;
  const base::Clock& clock_;
  delivery::Means means_;
  delivery::Credentials credentials_;
  delivery::Health health_;
  delivery::FoundCache found_;
  std::vector<Wire> wires_;
  std::size_t active_ = 0;  ///< wires at work
  bool closed_ = false;
  boost::asio::steady_timer event_;  ///< wakes Work()
};

}  // namespace dwell::reconcile
