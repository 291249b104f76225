#include "daemon/base/clock.h"

#include <sys/timex.h>

#include <ctime>
#include <mutex>

#include "daemon/base/log.h"
#include "daemon/base/timekeeper.h"

namespace dwell::base {
namespace {

using std::chrono::milliseconds;

constexpr milliseconds kTellAgainAfter = std::chrono::hours(1);

/// Runs while the machine sleeps, and nobody can set it (clock_gettime(2)).
milliseconds SinceBoot() {
  timespec now{};
  clock_gettime(CLOCK_BOOTTIME, &now);
  return std::chrono::duration_cast<milliseconds>(std::chrono::seconds(now.tv_sec) +
                                                  std::chrono::nanoseconds(now.tv_nsec));
}

/// adjtimex(2): setting the clock takes this away, until a time service that is sure gives it
/// again. `maxerror` counts microseconds and grows by itself when nobody tends the clock.
bool IsVouched() {
  constexpr long kErrorMaxUs = 1'000'000;
  timex state{};
  return adjtimex(&state) != TIME_ERROR && (state.status & STA_UNSYNC) == 0 &&
         state.maxerror <= kErrorMaxUs;
}

void Log(const ClockStep& step) {
  const auto ahead_s = std::chrono::duration_cast<std::chrono::seconds>(step.ahead).count();
  if (step.is_over) {
    log::Write(log::Level::kInfo, "wall-clock-set-back", {{"ahead_s", ahead_s}});
  } else if (step.is_followed) {
    log::Write(log::Level::kWarning, "wall-clock-set", {{"ahead_s", ahead_s}});
  } else {
    log::Write(log::Level::kError, "wall-clock-not-followed", {{"ahead_s", ahead_s}});
  }
}

}  // namespace

Instant SystemClock::Now() const {
  return std::chrono::floor<milliseconds>(std::chrono::system_clock::now());
}

struct KeptClock::Impl {
  SystemClock wall;
  std::mutex mutex;
  Timekeeper keeper;        // guarded by mutex
  milliseconds told_at{0};  // guarded by mutex; of SinceBoot()
  std::uint64_t steps = 0;  // guarded by mutex
};

KeptClock::KeptClock() : impl_(std::make_unique<Impl>()) {}

KeptClock::~KeptClock() = default;

Instant KeptClock::Now() const {
  std::optional<ClockStep> news;
  Instant now;
  {
    const std::scoped_lock lock(impl_->mutex);
    const ClockReading reading{impl_->wall.Now(), SinceBoot()};
    now = impl_->keeper.Tell(reading, IsVouched);
    news = impl_->keeper.TakeNews();
    if (news) ++impl_->steps;
    const milliseconds ahead = impl_->keeper.ahead();
    const bool is_forgotten = reading.steady - impl_->told_at >= kTellAgainAfter;
    if (!news && ahead != milliseconds(0) && is_forgotten) news = ClockStep{ahead, false, false};
    if (news) impl_->told_at = reading.steady;
  }
  if (news) Log(*news);
  return now;
}

std::uint64_t KeptClock::steps() const {
  const std::scoped_lock lock(impl_->mutex);
  return impl_->steps;
}

milliseconds KeptClock::wall_ahead() const {
  const std::scoped_lock lock(impl_->mutex);
  return impl_->keeper.ahead();
}

}  // namespace dwell::base
