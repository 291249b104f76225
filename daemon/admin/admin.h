// The local admin socket: for operators on the same machine, guarded by the file's permissions
// (0660).
#pragma once

#include <boost/asio/any_io_executor.hpp>
#include <memory>
#include <string>

#include "daemon/admin/conversation.h"

namespace dwell::admin {

/// Everything happens on the one thread that runs the executor.
class Admin {
 public:
  /// Takes the place of a socket file that nobody listens on any more; any other file is left
  /// untouched. Errors: kBusy (somebody listens), kConfig (path unusable).
  static Result<std::unique_ptr<Admin>> Open(const net::asio::any_io_executor& executor,
                                             const std::string& path, Services services);
  /// Accepts no more, closes every connection and removes the file.
  ~Admin();

  struct State;

 private:
  explicit Admin(std::shared_ptr<State> state);
  std::shared_ptr<State> state_;
};

}  // namespace dwell::admin
