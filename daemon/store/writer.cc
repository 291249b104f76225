#include "daemon/store/writer.h"

#include <atomic>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/base/thread_name.h"

namespace dwell::store {
namespace {

// When nobody waits, the log is moved into the file as soon as this much has gathered (4 MiB, some
// milliseconds of work), so that a job that comes meanwhile waits little.
constexpr std::size_t kIdleLogPages = 512;
// Under steady load nobody is ever idle: beyond this (64 MiB) it is done between two commits.
constexpr std::size_t kLogPagesMax = 8192;
// Quiet for so long: also what is less than kIdleLogPages is moved.
constexpr std::chrono::milliseconds kQuiet{500};

}  // namespace

struct Writer::Impl {
  std::unique_ptr<Store> store;
  std::function<void(const Error&)> on_fatal;
  std::mutex mutex;
  std::condition_variable posted;
  std::deque<Job> first;  // guarded by mutex; goes before `jobs`
  std::deque<Job> jobs;   // guarded by mutex
  bool stopping = false;  // guarded by mutex
  std::atomic<std::size_t> waiting{0};
  std::optional<Error> fatal;  // the store thread's own
  std::thread thread;          // last: it uses all of the above

  void Run();
  std::vector<Job> TakeBatch();
  Result<void> Transact(const std::vector<Job>& batch);
  bool HasJobs() const { return !first.empty() || !jobs.empty(); }  // under mutex
  bool Ending();
  void CheckpointBeyond(std::size_t pages);
  void Stop(const Error& error);
};

Writer::Writer(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal)
    : impl_(std::make_unique<Impl>()) {
  impl_->store = std::move(store);
  impl_->on_fatal = std::move(on_fatal);
  impl_->thread = std::thread([impl = impl_.get()] { impl->Run(); });
}

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
    was_empty = !impl_->HasJobs();
    (job.goes_first ? impl_->first : impl_->jobs).push_back(std::move(job));
  }
  // With jobs before it in the queue the thread is awake and will see it.
  if (was_empty) impl_->posted.notify_one();
}

std::size_t Writer::waiting() const { return impl_->waiting.load(std::memory_order_relaxed); }

// An empty batch: quiet for a while, or time to end.
std::vector<Job> Writer::Impl::TakeBatch() {
  const auto something_to_do = [this] { return HasJobs() || stopping; };
  std::unique_lock lock(mutex);
  if (!something_to_do() && !fatal && store->log_pages() > 0) {
    lock.unlock();
    CheckpointBeyond(kIdleLogPages);
    lock.lock();
    if (!posted.wait_for(lock, kQuiet, something_to_do)) return {};
  }
  posted.wait(lock, something_to_do);
  std::vector<Job> batch;
  std::size_t weight = 0;
  for (std::deque<Job>* queue : {&first, &jobs}) {
    while (!queue->empty() && weight < limits::kEventsPerCommitMax) {
      weight += queue->front().weight;
      batch.push_back(std::move(queue->front()));
      queue->pop_front();
    }
  }
  return batch;
}

Result<void> Writer::Impl::Transact(const std::vector<Job>& batch) {
  if (fatal) return *fatal;
  Result<void> done = store->Begin();
  for (const Job& job : batch) {
    if (done.has_error()) break;
    done = job.work(*store);
  }
  if (done.has_value()) done = store->Commit();
  if (done.has_error()) store->Rollback();
  return done;
}

void Writer::Impl::Run() {
  base::NameThread("store");
  for (;;) {
    std::vector<Job> batch = TakeBatch();
    if (batch.empty()) {
      if (Ending()) break;
      CheckpointBeyond(0);
      continue;
    }
    const Result<void> done = Transact(batch);
    // Before anybody is told, so that whoever hears of the failure finds the thread stopped.
    if (done.has_error() && done.error().kind() != ErrorKind::kFull && !fatal) Stop(done.error());
    for (const Job& job : batch) {
      if (job.done) job.done(done);
    }
    waiting.fetch_sub(batch.size(), std::memory_order_relaxed);
    CheckpointBeyond(kLogPagesMax);
  }
  if (fatal) return;
  const Result<void> finished = store->Finish();
  if (finished.has_error() && finished.error().kind() != ErrorKind::kFull) Stop(finished.error());
}

bool Writer::Impl::Ending() {
  const std::scoped_lock lock(mutex);
  return stopping && !HasJobs();
}

void Writer::Impl::CheckpointBeyond(std::size_t pages) {
  if (fatal || store->log_pages() <= pages) return;
  const Result<void> done = store->Checkpoint();
  // A full disk only postpones it: what was committed stays safe in the log.
  if (done.has_error() && done.error().kind() != ErrorKind::kFull) Stop(done.error());
}

void Writer::Impl::Stop(const Error& error) {
  fatal = error;
  if (on_fatal) on_fatal(error);
}

}  // namespace dwell::store
