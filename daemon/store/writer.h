// The one thread that touches the store. Jobs that wait while the disk is busy share the next
// transaction, so that one sync serves them all (group commit).
#pragma once

#include <functional>
#include <memory>

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

/// Fails: kFull is told to the jobs and the thread goes on; any other error stops the thread: all
/// later jobs fail with it, and `on_fatal` is called once, on the store thread; it must not destroy
/// the Writer. A failed sync is never tried again.
class Writer {
 public:
  Writer(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal);
  /// Finishes the jobs already posted, checkpoints, closes the store.
  ~Writer();

  /// Safe from any thread. Jobs run in the order of posting, those that go first before the others.
  void Post(Job job);
  /// Jobs posted and not yet done.
  std::size_t waiting() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace dwell::store
