// CPU time of a call, for the benches that look at one function.
#pragma once

#include <algorithm>
#include <ctime>

namespace dwell::bench {

inline double CpuMicroseconds() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e6 + static_cast<double>(now.tv_nsec) / 1e3;
}

/// The best of several rounds, in microseconds a call: the least disturbed one.
template <class Call>
double Best(int rounds, int repeats, Call call) {
  double best = 1e9;
  for (int round = 0; round < rounds; ++round) {
    const double begin = CpuMicroseconds();
    for (int i = 0; i < repeats; ++i) call();
    best = std::min(best, (CpuMicroseconds() - begin) / repeats);
  }
  return best;
}

}  // namespace dwell::bench
