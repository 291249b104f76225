#include "daemon/alarm/alarm.h"

#include <condition_variable>
#include <mutex>
#include <optional>
#include <thread>

#include "daemon/base/log.h"
#include "daemon/base/thread_name.h"

namespace dwell::alarm {
namespace {

// Shared with the callbacks that the ledger holds, which may come after the alarm is gone.
struct State {
  std::mutex mutex;
  std::condition_variable changed;
  // All guarded by mutex.
  bool stopping = false;
  bool look = true;        // at the start, and when the ledger has news
  bool in_flight = false;  // a catching up is on its way
  bool failing = false;    // the last one failed, and the log has said so
  std::optional<Instant> next;
  Instant caught_up_to = Instant::min();
};

void Wake(State& state, bool look) {
  {
    const std::scoped_lock lock(state.mutex);
    state.look = state.look || look;
  }
  state.changed.notify_one();
}

void CaughtUp(State& state, Instant asked_at, const Result<std::optional<Instant>>& next) {
  {
    const std::scoped_lock lock(state.mutex);
    state.in_flight = false;
    if (next.has_error()) {
      state.look = true;  // at the next look, not at once
      if (!state.failing) {
        log::Write(log::Level::kError, "catching-up-failed", {{"error", next.error()}});
      }
      state.failing = true;
      return;
    }
    state.failing = false;
    state.next = next.value();
    state.caught_up_to = asked_at;
  }
  state.changed.notify_one();
}

void Run(const std::shared_ptr<State>& state, ledger::Ledger& ledger, const base::Clock& clock) {
  base::NameThread("alarm");
  std::unique_lock lock(state->mutex);
  while (!state->stopping) {
    if (!state->in_flight) {
      const Instant now = clock.Now();
      if (state->look || (state->next && *state->next <= now)) {
        state->look = false;
        state->in_flight = true;
        lock.unlock();
        ledger.CatchUp([state, now](const Result<std::optional<Instant>>& next) {
          CaughtUp(*state, now, next);
        });
        lock.lock();
        continue;
      }
      state->caught_up_to = now;  // the next thing falls due after now
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
  ledger.OnNews([state = impl_->state] { alarm::Wake(*state, true); });
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
  return impl_->state->caught_up_to;
}

void Alarm::Wake() { alarm::Wake(*impl_->state, false); }

}  // namespace dwell::alarm
