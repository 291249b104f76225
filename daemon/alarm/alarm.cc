#include "daemon/alarm/alarm.h"

#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include "daemon/alarm/schedule.h"
#include "daemon/base/log.h"
#include "daemon/base/thread_name.h"

namespace dwell::alarm {
namespace {

// Shared with the callbacks that the ledger holds, which may come after the alarm is gone.
struct State {
  std::mutex mutex;
  std::condition_variable changed;
  bool stopping = false;                     // guarded by mutex
  Schedule schedule;                         // guarded by mutex
  std::vector<std::function<void()>> asked;  // guarded by mutex
};

void CaughtUp(State& state, const Result<std::optional<Instant>>& next) {
  {
    const std::scoped_lock lock(state.mutex);
    if (next.has_error()) {
      const bool is_first = state.schedule.Failed(std::chrono::steady_clock::now());
      if (is_first) log::Write(log::Level::kError, "catching-up-failed", {{"error", next.error()}});
      return;  // again in a while
    }
    state.schedule.Ended(next.value());
  }
  state.changed.notify_one();
}

void Run(const std::shared_ptr<State>& state, ledger::Ledger& ledger, const base::Clock& clock) {
  base::NameThread("alarm");
  std::unique_lock lock(state->mutex);
  while (!state->stopping) {
    if (!state->asked.empty()) {
      const auto asked = std::exchange(state->asked, {});
      lock.unlock();
      for (const auto& moved : asked) moved();
      lock.lock();
      continue;
    }
    if (state->schedule.Begin(clock.Now(), std::chrono::steady_clock::now())) {
      lock.unlock();
      ledger.CatchUp(
          [state](const Result<std::optional<Instant>>& next) { CaughtUp(*state, next); });
      lock.lock();
      continue;
    }
    state->changed.wait_for(lock, kLookEvery);
  }
}

}  // namespace

struct Alarm::Impl {
  std::shared_ptr<State> state = std::make_shared<State>();
  std::thread thread;
};

Alarm::Alarm(ledger::Ledger& ledger, const base::Clock& clock) : impl_(std::make_unique<Impl>()) {
  ledger.OnNews([state = impl_->state] {
    {
      const std::scoped_lock lock(state->mutex);
      state->schedule.News();
    }
    state->changed.notify_one();
  });
  impl_->thread =
      std::thread([state = impl_->state, &ledger, &clock] { Run(state, ledger, clock); });
}

Alarm::~Alarm() {
  {
    const std::scoped_lock lock(impl_->state->mutex);
    impl_->state->stopping = true;
  }
  impl_->state->changed.notify_one();
  impl_->thread.join();
}

Instant Alarm::caught_up_to() const {
  const std::scoped_lock lock(impl_->state->mutex);
  return impl_->state->schedule.caught_up_to();
}

void Alarm::Ask(std::function<void()> moved) {
  {
    const std::scoped_lock lock(impl_->state->mutex);
    impl_->state->asked.push_back(std::move(moved));
  }
  impl_->state->changed.notify_one();
}

void Alarm::Wake() { impl_->state->changed.notify_one(); }

}  // namespace dwell::alarm
