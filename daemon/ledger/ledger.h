// The one writer of meaning: takes a legal event, places it in its line's life, computes what is
// due, makes the resources that changed, checks them and appends everything in one transaction.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/base/limits.h"
#include "daemon/store/writer.h"
#include "mapping/due/due.h"
#include "mapping/fhir/bundle.h"
#include "schemas/bundled.h"

namespace dwell::ledger {

/// A legal event on its way in: read, checked against its contract, typed.
struct Submission {
  std::shared_ptr<const event::Event> event;
  std::string raw;  ///< the event's bytes as received
};

enum class Answer : std::uint8_t {
  kStored,         ///< new; committed and synced
  kRepeated,       ///< same id and content as before: the same event
  kConflict,       ///< same id, other content
  kContradiction,  ///< does not fit the line's life
  kNotNow,         ///< no space, or the store stopped: nothing was stored; try again later
};

struct Receipt {
  Answer answer = Answer::kNotNow;
  std::int64_t event_seq = 0;         ///< for kStored, kRepeated
  Instant received_at{};              ///< for kStored, kRepeated: when it was first received
  line::Contradiction contradiction;  ///< for kConflict, kContradiction
  std::string why;                    ///< for kNotNow
};

/// What the ledger works with; all outlive the writer.
struct Rules {
  const schemas::Bundled* schemas = nullptr;
  const due::Policy* policy = nullptr;
  const due::Zone* zone = nullptr;
  fhir::Context fhir;
  /// Deliveries that may wait before new events are put off.
  std::uint64_t queue_bundles_max = limits::kQueueBundlesMax;
};

/// Called on the store thread.
using Receipts = std::function<void(std::vector<Receipt>)>;

/// A stored event that can no longer be read (its contract changed without a migration) keeps its
/// line from going on: events for that line get kNotNow, the clock tries again each hour, and the
/// log says so each time. Other lines are not touched by it.
class Ledger {
 public:
  Ledger(store::Writer& writer, const base::Clock& clock, Rules rules);
  ~Ledger();

  /// Stores the submissions, in order, each for itself, in one transaction (shared with others);
  /// `receipts` gets one answer each, in the same order, after the commit.
  void Submit(std::vector<Submission> submissions, Receipts receipts);

  /// Looks again at every line whose next change is at or before the clock's now, in batches;
  /// `done` gets the next instant at which something will change (empty: none), after the commit.
  void CatchUp(std::function<void(Result<std::optional<Instant>>)> done);

  /// Adds a listener, called on the store thread after a commit that added bundles or changed when
  /// the clock must look. It must be quick, and safe to call until the writer is gone.
  void OnNews(std::function<void()> news);

  struct Impl;  ///< of the files that implement it

 private:
  std::shared_ptr<Impl> impl_;  ///< jobs on their way hold it too
};

}  // namespace dwell::ledger
