// Work on the store: what it is, where it is handed in, and how what waits is taken in batches.
#pragma once

#include <deque>
#include <functional>
#include <vector>

#include "daemon/store/store.h"

namespace dwell::store {

/// A piece of work on the store. Both functions run on the store thread.
struct Job {
  /// Runs inside the shared transaction. An error is one of the environment: it rolls the whole
  /// transaction back, and every job in it is told so.
  std::function<Result<void>(Store&)> work;
  /// Runs after the commit (success: everything is synced) or after the rollback (error).
  /// Must be quick and must not block: post to another thread what takes time.
  std::function<void(const Result<void>&)> done;
  /// What it costs, in events: a batch of a hundred counts as a hundred jobs.
  std::size_t weight = 1;
  /// Goes before those that wait and do not say so: the bookkeeping of delivery, which a flood of
  /// events must not starve.
  bool goes_first = false;
};

/// Where jobs are handed in: the store's thread (Writer), or a simulator that has none.
class Jobs {
 public:
  virtual ~Jobs() = default;
  /// Jobs run in the order of posting, those that go first before the others.
  virtual void Post(Job job) = 0;
};

/// Jobs that wait. Not safe between threads: its owner sees to that.
class WaitingJobs {
 public:
  void Add(Job job);
  bool empty() const { return first_.empty() && others_.empty(); }
  /// The jobs of the next transaction: all that wait, as far as limits::kEventsPerCommitMax goes.
  std::vector<Job> Take();

 private:
  std::deque<Job> first_;
  std::deque<Job> others_;
};

}  // namespace dwell::store
