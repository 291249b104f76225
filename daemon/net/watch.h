// The deadline of one connection: when it passes, the socket is closed and every operation fails.
#pragma once

#include <boost/asio/generic/stream_protocol.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <memory>

namespace dwell::net {

/// One timer a connection. It is re-armed only when a deadline comes nearer, or when it went off
/// and the deadline has moved on meanwhile; so a deadline per request costs a look at the clock.
class Watch : public std::enable_shared_from_this<Watch> {
 public:
  using Socket = boost::asio::generic::stream_protocol::socket;

  /// `socket` must outlive the watch's last Set() or a call of Release().
  explicit Watch(Socket& socket) : socket_(&socket), timer_(socket.get_executor()) {}

  void Set(std::chrono::milliseconds after) {
    deadline_ = Clock::now() + after;
    if (!armed_ || deadline_ < timer_.expiry()) Arm();
  }

  /// Forgets the socket; nothing happens any more.
  void Release() {
    socket_ = nullptr;
    timer_.cancel();
  }

  /// `error`, unless the deadline was the cause of it.
  boost::system::error_code Judge(const boost::system::error_code& error) const {
    return error && expired_ ? boost::asio::error::timed_out : error;
  }

  std::chrono::steady_clock::duration left() const { return deadline_ - Clock::now(); }

 private:
  using Clock = std::chrono::steady_clock;

  void Arm() {
    armed_ = true;
    timer_.expires_at(deadline_);
    timer_.async_wait([weak = weak_from_this()](const boost::system::error_code& error) {
      if (error) return;  // re-armed or released
      if (const auto watch = weak.lock()) watch->GoOff();
    });
  }

  void GoOff() {
    armed_ = false;
    if (socket_ == nullptr) return;
    if (Clock::now() < deadline_) return Arm();
    expired_ = true;
    boost::system::error_code ignored;
    socket_->close(ignored);
  }

  Socket* socket_;
  boost::asio::steady_timer timer_;
  Clock::time_point deadline_{};
  bool armed_ = false;
  bool expired_ = false;
};

}  // namespace dwell::net
