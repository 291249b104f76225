// Runs jobs on the store, many in one transaction, and decides when the log is moved into the file.
// Knows no thread and no waiting: whoever owns it calls it (see writer.h).
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "daemon/store/jobs.h"

namespace dwell::store {

/// Fails: kFull is told to the jobs and work goes on; after any other error nothing touches the
/// store any more, all later jobs fail with it, and `on_fatal` is called once. A failed sync is
/// never tried again.
class Committer {
 public:
  /// `on_fatal` may be empty.
  Committer(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal);

  /// One transaction for the whole batch; then every job is told. Under steady load nobody is ever
  /// idle: a large log is moved here, after they were told.
  void Run(const std::vector<Job>& batch);
  /// Whether pages wait in the log that Idle() and Quiet() may move.
  bool HasLog() const;
  /// Nobody waits at present: moves the log when much has gathered.
  void Idle();
  /// Nobody came for a while: moves what there is.
  void Quiet();
  /// For an orderly end: moves the log and empties it. No jobs afterwards.
  void Finish();

 private:
  Result<void> Transact(const std::vector<Job>& batch);
  void CheckpointBeyond(std::size_t pages);
  void Stop(const Error& error);

  std::unique_ptr<Store> store_;
  std::function<void(const Error&)> on_fatal_;
  std::optional<Error> fatal_;
};

}  // namespace dwell::store
