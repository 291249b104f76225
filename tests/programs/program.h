// A program of ours as its users start it: a process of its own, with arguments and environment.
#pragma once

#include <sys/types.h>

#include <string>
#include <vector>

namespace dwell::test {

/// Paths of the built programs.
std::string DwelldPath();
std::string DwellPath();

class Program {
 public:
  /// Starts `arguments[0]`. `environment`: "NAME=value", added to what it needs anyway.
  explicit Program(const std::vector<std::string>& arguments,
                   const std::vector<std::string>& environment = {});
  /// Kills what is still running.
  ~Program();
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;

  /// Reads what it writes until `text` is among it; false when it ends first, or stays silent for
  /// too long.
  bool ReadUntil(const std::string& text);
  void Signal(int number) const;
  /// Waits for its end. The exit code; negative: the signal that ended it.
  int Wait();
  /// Standard output and standard error so far, as they came.
  const std::string& output() const { return output_; }

 private:
  bool ReadMore();

  pid_t pid_ = -1;
  int pipe_ = -1;
  std::string output_;
};

/// What one run wrote, and how it ended.
struct Ended {
  int code = 0;
  std::string output;
};
Ended RunToEnd(const std::vector<std::string>& arguments,
               const std::vector<std::string>& environment = {});

}  // namespace dwell::test
