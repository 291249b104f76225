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

/// What a person wants done about deliveries on hold.
struct Order {
  store::Act act = store::Act::kReleased;  ///< or kCancelled
  std::string by, why;                     ///< checked by whoever asks (admin/orders.h)
  /// The number of a delivery, or the id of an event; empty for `all_of`.
  std::string target;
  std::string source;      ///< of the event; empty: a target of digits is a delivery's number
  std::string all_of;      ///< every delivery on hold whose reason contains this
  std::int64_t after = 0;  ///< for `all_of`: only those with a higher number
};

/// What became of one delivery.
struct Decided {
  std::int64_t bundle_seq = 0;
  std::string refusal;  ///< why nothing was done about it; empty: it was
  store::Act act = store::Act::kReleased;
  std::int64_t made_again_as = 0;     ///< see store::DecisionRecord
  std::vector<std::int64_t> with_it;  ///< deliveries that waited behind it and were made again too
  std::vector<std::string>
      forgotten;  ///< kCancelled: "Type/id" of what it held that counts as not issued
};

struct Ruling {
  std::string refusal;  ///< why the order as a whole makes no sense; empty: see `decided`
  std::vector<Decided> decided;
  bool more = false;  ///< of `all_of`: again, with `after` the last of `decided`
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

  /// Does what a person decided, each delivery whole, all in one transaction; of `all_of` at most
  /// limits::kDecisionsMax. Only what is on hold can be decided about.
  ///
  /// Released: the same bytes go again, first of their lane. A bundle that breaks our own structure
  /// never goes out as it is: its resources are made anew from the line as it now stands, together
  /// with those of all that waits behind it (which was made on top of it), as one bundle; refused
  /// while that would not be legal either.
  ///
  /// Cancelled: the bundle is kept and never sent; what it held counts as not issued (see
  /// ForgetIssued()), so that the line's next bundle carries what still follows from the line.
  void Decide(Order order, std::function<void(Result<Ruling>)> done);

  /// Adds a listener, called on the store thread after a commit that added bundles or changed when
  /// the clock must look. It must be quick, and safe to call until the writer is gone.
  void OnNews(std::function<void()> news);

  struct Impl;  ///< of the files that implement it

 private:
  std::shared_ptr<Impl> impl_;  ///< jobs on their way hold it too
};

}  // namespace dwell::ledger
