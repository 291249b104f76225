// The one thread that touches the store. Jobs that wait while the disk is busy share the next
// transaction, so that one sync serves them all (group commit).
#pragma once

#include <functional>
#include <memory>

#include "daemon/store/jobs.h"
#include "daemon/store/store.h"

namespace dwell::store {

/// Fails as Committer does; `on_fatal` is called on the store thread and must not destroy the
/// Writer.
class Writer final : public Jobs {
 public:
  Writer(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal);
  /// Finishes the jobs already posted, checkpoints, closes the store.
  ~Writer() override;

  /// Safe from any thread.
  void Post(Job job) override;
  /// Jobs posted and not yet done.
  std::size_t waiting() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace dwell::store
