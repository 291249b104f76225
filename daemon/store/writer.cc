#include "daemon/store/writer.h"

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include "daemon/base/thread_name.h"
#include "daemon/store/committer.h"

namespace dwell::store {
namespace {

// Quiet for so long: then also a small log is moved.
constexpr std::chrono::milliseconds kQuiet{500};

}  // namespace

struct Writer::Impl {
  Impl(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal)
      : committer(std::move(store), std::move(on_fatal)), thread([this] { Run(); }) {}

  Committer committer;  // the store thread's own
  std::mutex mutex;
  std::condition_variable posted;
  WaitingJobs jobs;       // guarded by mutex
  bool stopping = false;  // guarded by mutex
  std::atomic<std::size_t> waiting{0};
  std::thread thread;  // last: it uses all of the above

  void Run();
  std::vector<Job> TakeBatch();
  bool Ending();
};

Writer::Writer(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal)
    : impl_(std::make_unique<Impl>(std::move(store), std::move(on_fatal))) {}

Writer::~Writer() {
  {
    const std::scoped_lock lock(impl_->mutex);
    impl_->stopping = true;
  }
  impl_->posted.notify_one();
  impl_->thread.join();
}

void Writer::Post(Job job) {
  impl_->waiting.fetch_add(1, std::memory_order_relaxed);
  bool was_empty = false;
  {
    const std::scoped_lock lock(impl_->mutex);
    was_empty = impl_->jobs.empty();
    impl_->jobs.Add(std::move(job));
  }
  // With jobs before it in the queue the thread is awake and will see it.
  if (was_empty) impl_->posted.notify_one();
}

std::size_t Writer::waiting() const { return impl_->waiting.load(std::memory_order_relaxed); }

// An empty batch: quiet for a while, or time to end.
std::vector<Job> Writer::Impl::TakeBatch() {
  const auto something_to_do = [this] { return !jobs.empty() || stopping; };
  std::unique_lock lock(mutex);
  if (!something_to_do() && committer.HasLog()) {
    lock.unlock();
    committer.Idle();
    lock.lock();
    if (!posted.wait_for(lock, kQuiet, something_to_do)) return {};
  }
  posted.wait(lock, something_to_do);
  return jobs.Take();
}

void Writer::Impl::Run() {
  base::NameThread("store");
  for (;;) {
    const std::vector<Job> batch = TakeBatch();
    if (batch.empty()) {
      if (Ending()) break;
      committer.Quiet();
      continue;
    }
    committer.Run(batch);
    waiting.fetch_sub(batch.size(), std::memory_order_relaxed);
  }
  committer.Finish();
}

bool Writer::Impl::Ending() {
  const std::scoped_lock lock(mutex);
  return stopping && jobs.empty();
}

}  // namespace dwell::store
