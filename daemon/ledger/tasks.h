// The Tasks of lines as they are now: for whoever asks for them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "mapping/line/line.h"

namespace dwell::ledger {

struct TaskOrder {
  bool open_only = false;  ///< lines at which nothing is due may be passed by
  std::int64_t from = 0;   ///< lines with this seq or a higher one
};

struct TaskPage {
  struct Line {
    std::int64_t line_seq = 0;
    line::Key key;
    std::vector<std::string> tasks;  ///< each as JSON, by id
    std::string trouble;             ///< why what is due at it is not known; or empty
  };
  std::vector<Line> lines;  ///< those that have any, or trouble
  std::int64_t next = 0;    ///< where the next page starts
  bool more = false;
};

}  // namespace dwell::ledger
