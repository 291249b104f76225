// dwelld_practice: the daemon with a wall clock that somebody else turns. It shows the instant (RFC
// 3339) written in the file that DWELL_PRACTICE_CLOCK names, and only ever goes forward. Everything
// else is the daemon as it is installed; this program never is.
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include "daemon/app/run.h"
#include "daemon/base/clock.h"

namespace {

using dwell::Instant;

class PracticeClock final : public dwell::base::Clock {
 public:
  explicit PracticeClock(std::string file) : file_(std::move(file)), now_(Read()) {
    reader_ = std::thread([this] {
      while (!stopping_) {
        std::this_thread::sleep_for(kLookEvery);
        if (const Instant read = Read(); read > now_.load()) now_ = read;
      }
    });
  }
  ~PracticeClock() override {
    stopping_ = true;
    reader_.join();
  }
  PracticeClock(const PracticeClock&) = delete;
  PracticeClock& operator=(const PracticeClock&) = delete;

  Instant Now() const override { return now_; }
  /// Whether the file held an instant at the start.
  bool is_set() const { return now_.load() != Instant{}; }

 private:
  static constexpr std::chrono::milliseconds kLookEvery{2};

  /// The instant in the file; 1970 when there is none.
  Instant Read() const {
    std::ifstream in(file_);
    std::string text;
    std::getline(in, text);
    const auto moment = dwell::ReadMoment(text);
    return moment ? moment->instant : Instant{};
  }

  const std::string file_;
  std::atomic<Instant> now_;
  std::atomic<bool> stopping_{false};
  std::thread reader_;
};

}  // namespace

int main(int count, char** words) {
  const char* file = std::getenv("DWELL_PRACTICE_CLOCK");
  if (file == nullptr) {
    std::fputs("dwelld_practice: DWELL_PRACTICE_CLOCK must name the file with the time\n", stderr);
    return 64;
  }
  const PracticeClock clock(file);
  if (!clock.is_set()) {
    std::fprintf(stderr, "dwelld_practice: no RFC 3339 instant in %s\n", file);
    return 65;
  }
  return dwell::app::RunDaemon(std::vector<std::string>(words + 1, words + count), clock);
}
