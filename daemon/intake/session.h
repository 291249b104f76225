// One connection to a listener: request, answer, request, answer, until either side has enough.
#pragma once

#include <boost/asio/awaitable.hpp>
#include <string>

#include "daemon/base/clock.h"
#include "daemon/intake/http_head.h"
#include "daemon/intake/request_reader.h"
#include "daemon/net/connection.h"

namespace dwell::intake {

class Session {
 public:
  /// All outlive the session.
  Session(net::Connection& connection, Service& service, const base::Clock& clock, DateText& date,
          const ConnectionLimits& limits)
      : connection_(connection),
        clock_(clock),
        date_(date),
        limits_(limits),
        reader_(connection, service, limits) {}

  /// Serves until the connection is over.
  net::asio::awaitable<void> Run();
  /// Answers `reply` to whatever comes, without reading it, and closes.
  net::asio::awaitable<void> TurnAway(Reply reply);
  /// Ends the session now if it waits for a request; otherwise after the answer in hand.
  void Drain();

 private:
  net::asio::awaitable<Reply> Ask(Incoming incoming);
  net::asio::awaitable<bool> Answer(const Reply& reply, bool head_only, bool close);
  net::asio::awaitable<void> Linger();

  net::Connection& connection_;
  const base::Clock& clock_;
  DateText& date_;
  ConnectionLimits limits_;
  RequestReader reader_;
  bool draining_ = false;
};

}  // namespace dwell::intake
