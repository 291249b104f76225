// Takes over standard error, where the daemon's log goes, so that it can be searched.
#pragma once

#include <string>

namespace dwell::sim {

class LogCapture {
 public:
  LogCapture();
  ~LogCapture();
  LogCapture(const LogCapture&) = delete;
  LogCapture& operator=(const LogCapture&) = delete;

  /// What was written since the last call.
  std::string Take();

 private:
  int memory_;  ///< a file without a name
  int stderr_;  ///< what standard error was
};

}  // namespace dwell::sim
