// The outcome of something that may fail because of its surroundings: a value or an Error.
// It cannot be ignored by accident, and our code never throws instead.
#pragma once

#include <boost/system/result.hpp>
#include <string>
#include <utility>

namespace dwell {

/// What kind of surroundings failed. Decides the exit code (daemon/app) and whether to go on.
enum class ErrorKind {
  kUsage,    ///< the command line is wrong
  kConfig,   ///< a configuration, policy or code map file is wrong
  kData,     ///< data that must be trusted (a bundled schema, a stored row) is unusable
  kForeign,  ///< a store file that is not ours, or is newer than this program
  kCorrupt,  ///< a store file that fails its own checks
  kBusy,     ///< another process holds the store, or an address is in use
  kFull,     ///< no space left
  kIo,       ///< reading, writing or syncing failed
  kNetwork,  ///< a connection could not be made or broke
  kTls,      ///< a certificate, key or handshake is not acceptable
};

/// A failure of the surroundings. `message` says what happened, to what, and what to do; it never
/// holds personal data.
class Error {
 public:
  Error() = default;
  Error(ErrorKind kind, std::string message) : kind_(kind), message_(std::move(message)) {}

  ErrorKind kind() const { return kind_; }
  const std::string& message() const { return message_; }

 private:
  ErrorKind kind_ = ErrorKind::kIo;
  std::string message_;
};

/// A value of type T or an error of type E.
/// Derived from Boost's class for one reason: Boost 1.81's lets a dropped failure pass silently.
template <class T, class E = Error>
class [[nodiscard]] Result : public boost::system::result<T, E> {
 public:
  using boost::system::result<T, E>::result;
};

/// Asked for by boost::system::result::value(); a call of value() on an error is our own bug.
[[noreturn]] void throw_exception_from_error(const Error& error, const boost::source_location& at);

}  // namespace dwell
