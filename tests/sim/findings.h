// What a run found wrong, and what happened in it, for whoever reads a failing seed.
#pragma once

#include <functional>
#include <string>
#include <utility>

namespace dwell::sim {

class Findings {
 public:
  /// Called with each line of the trace; empty: nobody wants one.
  explicit Findings(std::function<void(const std::string&)> trace) : trace_(std::move(trace)) {}

  bool traces() const { return static_cast<bool>(trace_); }
  void Trace(const std::string& line) {
    if (trace_) trace_(line);
  }
  /// The invariant `name` is broken; the first one counts.
  void Broken(const std::string& name, const std::string& how) {
    Trace("BROKEN " + name + ": " + how);
    if (broken_.empty()) broken_ = name + ": " + how;
  }
  bool ok() const { return broken_.empty(); }
  /// The first broken invariant, and how; empty while all is well.
  const std::string& broken() const { return broken_; }

 private:
  std::function<void(const std::string&)> trace_;
  std::string broken_;
};

}  // namespace dwell::sim
