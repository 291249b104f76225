#include "daemon/retention/retention.h"

#include <condition_variable>
#include <mutex>
#include <thread>

#include "daemon/base/limits.h"
#include "daemon/base/log.h"
#include "daemon/base/thread_name.h"
#include "mapping/event/event.h"
#include "schemas/json/document.h"

namespace dwell::retention {
namespace {

// Shared with the jobs of the store, which may end after the clean-up's thread is gone.
struct State {
  std::mutex mutex;
  std::condition_variable changed;
  // All guarded by mutex.
  bool stopping = false;
  bool in_flight = false;          // a step is with the store
  std::optional<CleanUp> current;  // between the first step and the last
  Task task;                       // of the current one
  std::optional<Instant> begun_at;
  std::optional<CleanUp> last;
  std::chrono::milliseconds pause = kLookEvery;
};

bool IsTime(const State& state, Instant now) {
  if (!state.begun_at || now < *state.begun_at) return true;
  return now - *state.begun_at >= limits::kCleanUpEvery;
}

void Log(const CleanUp& done, bool waits_for_wards) {
  if (waits_for_wards) log::Write(log::Level::kWarning, "clean-up-waits-for-events");
  if (done.bundles + done.lines + done.pages == 0) return;
  log::Write(log::Level::kInfo, "cleaned-up",
             {{"bundles", static_cast<std::int64_t>(done.bundles)},
              {"lines", static_cast<std::int64_t>(done.lines)},
              {"events", static_cast<std::int64_t>(done.events)},
              {"pages", static_cast<std::int64_t>(done.pages)}});
}

// `step` is empty when the store said no.
void Stepped(State& state, const std::optional<Step>& step) {
  {
    const std::scoped_lock lock(state.mutex);
    state.in_flight = false;
    state.pause = kLookEvery;
    if (!step) {
      state.current.reset();
    } else if (step->bundles == 0 && step->lines.looked_at == 0 && step->pages == 0) {
      state.last = std::exchange(state.current, std::nullopt);
      Log(*state.last, step->waits_for_wards);
    } else {
      state.current->bundles += step->bundles;
      state.current->lines += step->lines.lines;
      state.current->events += step->lines.events;
      state.current->pages += step->pages;
      state.task.after = step->lines.after;
      state.pause = step->has_room ? limits::kCleanUpPause : limits::kCleanUpPauseNoRoom;
    }
  }
  state.changed.notify_one();
}

void PostStep(const std::shared_ptr<State>& state, store::Writer& writer, ledger::Ledger& ledger,
              const Task& task) {
  auto step = std::make_shared<Step>();
  store::Job job;
  job.work = [step, &ledger, task](store::Store& store) -> Result<void> {
    const Result<Step> taken = TakeStep(store, ledger, task);
    if (taken.has_error()) return taken.error();
    *step = *taken;
    return {};
  };
  job.done = [state, step](const Result<void>& committed) {
    if (committed.has_error()) {
      log::Write(log::Level::kError, "clean-up-failed", {{"error", committed.error()}});
    }
    Stepped(*state, committed.has_error() ? std::nullopt : std::optional(*step));
  };
  job.weight = limits::kBodiesRemovedMax;
  writer.Post(std::move(job));
}

Task TaskAt(Instant now, Lifetimes lifetimes) {
  Task task;
  task.now = now;
  if (lifetimes.delivered.count() > 0) task.bodies_until = now - lifetimes.delivered;
  if (lifetimes.closed_lines.count() > 0) task.lines_until = now - lifetimes.closed_lines;
  return task;
}

void Run(const std::shared_ptr<State>& state, store::Writer& writer, ledger::Ledger& ledger,
         const base::Clock& clock, Lifetimes lifetimes) {
  base::NameThread("retention");
  std::unique_lock lock(state->mutex);
  while (!state->stopping) {
    if (!state->in_flight) {
      if (!state->current) {
        const Instant now = clock.Now();
        if (IsTime(*state, now)) {
          state->begun_at = now;
          state->current = CleanUp{now};
          state->task = TaskAt(now, lifetimes);
        }
      }
      if (state->current) {
        const Task task = state->task;
        state->in_flight = true;
        lock.unlock();
        PostStep(state, writer, ledger, task);
        lock.lock();
      }
    }
    const auto idle = [&state] { return state->stopping || !state->in_flight; };
    if (state->in_flight) state->changed.wait(lock, idle);
    if (!state->stopping) state->changed.wait_for(lock, state->pause);
  }
}

}  // namespace

Result<bool> IsBorneOut(store::Store& store, Instant now) {
  const auto newest = store.NewestEvent();
  if (newest.has_error()) return newest.error();
  if (!newest.value()) return true;
  const auto document = schemas::Document::Parse((*newest.value()).raw);
  // Received by our own clock, which may have been wrong then, too; recorded by the ward's.
  Instant at = (*newest.value()).received_at;
  if (document.has_value()) {
    const auto event = event::ReadEvent(document->root());
    if (event.has_value()) at = event->recorded_at.instant;
  }
  return now - at <= limits::kCleanUpQuietMax;
}

Result<Step> TakeStep(store::Store& store, ledger::Ledger& ledger, const Task& task) {
  Step step;
  step.has_room = store.HasRoom();
  step.lines.after = task.after;
  const Result<bool> is_borne_out = IsBorneOut(store, task.now);
  if (is_borne_out.has_error()) return is_borne_out.error();
  step.waits_for_wards = !is_borne_out.value();
  if (task.bodies_until && !step.waits_for_wards) {
    const auto bundles = store.RemoveBodies(*task.bodies_until, limits::kBodiesRemovedMax);
    if (bundles.has_error()) return bundles.error();
    step.bundles = *bundles;
    if (step.bundles > 0) return step;
  }
  if (task.lines_until && !step.waits_for_wards) {
    const auto lines = ledger.StopKeeping(store, *task.lines_until, task.after);
    if (lines.has_error()) return lines.error();
    step.lines = *lines;
    if (step.lines.looked_at > 0) return step;
  }
  const Result<std::size_t> pages =
      store.GiveBackPages(limits::kFreePagesKept, limits::kPagesGivenBackMax);
  if (pages.has_error()) return pages.error();
  step.pages = *pages;
  return step;
}

struct Retention::Impl {
  std::shared_ptr<State> state = std::make_shared<State>();
  std::thread thread;
};

Retention::Retention(store::Writer& writer, ledger::Ledger& ledger, const base::Clock& clock,
                     Lifetimes lifetimes)
    : impl_(std::make_unique<Impl>()) {
  impl_->thread = std::thread([state = impl_->state, &writer, &ledger, &clock, lifetimes] {
    Run(state, writer, ledger, clock, lifetimes);
  });
}

Retention::~Retention() {
  {
    const std::scoped_lock lock(impl_->state->mutex);
    impl_->state->stopping = true;
  }
  impl_->state->changed.notify_one();
  impl_->thread.join();
}

std::optional<CleanUp> Retention::last() const {
  const std::scoped_lock lock(impl_->state->mutex);
  return impl_->state->last;
}

void Retention::Wake() { impl_->state->changed.notify_one(); }

}  // namespace dwell::retention
