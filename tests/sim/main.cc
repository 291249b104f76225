// sim [--seeds N] [--from S] [--failures N] [--trace]: runs N seeds from S on; see tests/sim/run.
#include <signal.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <cstring>

#include "tests/sim/world.h"

namespace dwell::sim {
namespace {

std::uint64_t seed_at_work = 0;
int console = STDOUT_FILENO;

/// A CHECK of ours failed: say in which seed.
void OnAbort(int) {
  char text[160];
  const int size = std::snprintf(text, sizeof(text),
                                 "seed %llu: aborted\nalone: tests/sim/run --from %llu --seeds 1"
                                 " --trace\n0 passed, 1 failed\n",
                                 static_cast<unsigned long long>(seed_at_work),
                                 static_cast<unsigned long long>(seed_at_work));
  if (::write(console, text, static_cast<std::size_t>(size)) < 0) ::_exit(2);
  ::_exit(1);
}

struct Options {
  std::uint64_t seeds = 1000, from = 1;
  std::uint64_t failures = 5;  ///< beyond that it is one bug told again and again
  bool trace = false;
};

bool Read(int count, char** texts, Options& options) {
  for (int i = 1; i < count; ++i) {
    const bool has_value = i + 1 < count;
    if (std::strcmp(texts[i], "--trace") == 0) {
      options.trace = true;
    } else if (std::strcmp(texts[i], "--seeds") == 0 && has_value) {
      options.seeds = std::strtoull(texts[++i], nullptr, 10);
    } else if (std::strcmp(texts[i], "--from") == 0 && has_value) {
      options.from = std::strtoull(texts[++i], nullptr, 10);
    } else if (std::strcmp(texts[i], "--failures") == 0 && has_value) {
      options.failures = std::strtoull(texts[++i], nullptr, 10);
    } else {
      return false;
    }
  }
  return options.seeds > 0;
}

double SecondsSince(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

void Print(const Figures& all, std::uint64_t seeds, double seconds) {
  std::printf(
      "%llu seeds, %llu steps, %llu events taken, %llu refused, %llu starts, %llu power cuts,"
      " %llu kills, %llu disk failures, %llu clock jumps, %llu attempts, %llu deliveries"
      " taken, %.0f seeds/s\n",
      static_cast<unsigned long long>(seeds), static_cast<unsigned long long>(all.steps),
      static_cast<unsigned long long>(all.events), static_cast<unsigned long long>(all.refused),
      static_cast<unsigned long long>(all.starts), static_cast<unsigned long long>(all.cuts),
      static_cast<unsigned long long>(all.kills), static_cast<unsigned long long>(all.failures),
      static_cast<unsigned long long>(all.jumps), static_cast<unsigned long long>(all.attempts),
      static_cast<unsigned long long>(all.delivered), static_cast<double>(seeds) / seconds);
  std::fflush(stdout);
}

int Run(const Options& options) {
  LogCapture log;
  const auto start = std::chrono::steady_clock::now();
  auto told = start;
  Figures all;
  std::uint64_t failed = 0;
  std::uint64_t done = 0;
  for (; done < options.seeds && failed < options.failures; ++done) {
    seed_at_work = options.from + done;
    std::function<void(const std::string&)> trace;
    if (options.trace) trace = [](const std::string& line) { std::puts(line.c_str()); };
    Findings findings(trace);
    all += World(seed_at_work, findings, log).Run();
    if (!findings.ok()) {
      ++failed;
      const auto seed = static_cast<unsigned long long>(seed_at_work);
      std::printf("seed %llu: %s\nalone: tests/sim/run --from %llu --seeds 1 --trace\n", seed,
                  findings.broken().c_str(), seed);
    }
    if (SecondsSince(told) < 10) continue;
    told = std::chrono::steady_clock::now();
    Print(all, done + 1, SecondsSince(start));
  }
  Print(all, done, SecondsSince(start));
  std::printf("%llu passed, %llu failed\n", static_cast<unsigned long long>(done - failed),
              static_cast<unsigned long long>(failed));
  return failed == 0 ? 0 : 1;
}

}  // namespace
}  // namespace dwell::sim

int main(int count, char** texts) {
  dwell::sim::Options options;
  if (!dwell::sim::Read(count, texts, options)) {
    std::fputs("sim [--seeds N] [--from S] [--failures N] [--trace]\n", stderr);
    return 64;
  }
  ::signal(SIGABRT, dwell::sim::OnAbort);
  return dwell::sim::Run(options);
}
