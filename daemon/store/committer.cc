#include "daemon/store/committer.h"

#include <utility>

namespace dwell::store {
namespace {

// When nobody waits, the log is moved into the file as soon as this much has gathered (4 MiB, some
// milliseconds of work), so that a job that comes meanwhile waits little.
constexpr std::size_t kIdleLogPages = 512;
// Under steady load nobody is ever idle: beyond this (64 MiB) it is done between two commits.
constexpr std::size_t kLogPagesMax = 8192;

}  // namespace

Committer::Committer(std::unique_ptr<Store> store, std::function<void(const Error&)> on_fatal)
    : store_(std::move(store)), on_fatal_(std::move(on_fatal)) {}

void Committer::Run(const std::vector<Job>& batch) {
  const Result<void> done = Transact(batch);
  // Before anybody is told, so that whoever hears of the failure finds the store stopped.
  if (done.has_error() && done.error().kind() != ErrorKind::kFull && !fatal_) Stop(done.error());
#if DWELL_PLANTED_BUG != 1
  for (const Job& job : batch) {
    if (job.done) job.done(done);
  }
#endif
  CheckpointBeyond(kLogPagesMax);
}

bool Committer::HasLog() const { return !fatal_ && store_->log_pages() > 0; }

void Committer::Idle() { CheckpointBeyond(kIdleLogPages); }

void Committer::Quiet() { CheckpointBeyond(0); }

void Committer::Finish() {
  if (fatal_) return;
  const Result<void> finished = store_->Finish();
  if (finished.has_error() && finished.error().kind() != ErrorKind::kFull) Stop(finished.error());
}

Result<void> Committer::Transact(const std::vector<Job>& batch) {
  if (fatal_) return *fatal_;
  Result<void> done = store_->Begin();
  for (const Job& job : batch) {
    if (done.has_error()) break;
    done = job.work(*store_);
  }
#if DWELL_PLANTED_BUG == 1  // tests/sim/planted: answers before the commit
  for (const Job& job : batch) {
    if (job.done && done.has_value()) job.done(done);
  }
#endif
  if (done.has_value()) done = store_->Commit();
  if (done.has_error()) store_->Rollback();
  return done;
}

void Committer::CheckpointBeyond(std::size_t pages) {
  if (fatal_ || store_->log_pages() <= pages) return;
  const Result<void> done = store_->Checkpoint();
  // A full disk only postpones it: what was committed stays safe in the log.
  if (done.has_error() && done.error().kind() != ErrorKind::kFull) Stop(done.error());
}

void Committer::Stop(const Error& error) {
  fatal_ = error;
  if (on_fatal_) on_fatal_(error);
}

}  // namespace dwell::store
