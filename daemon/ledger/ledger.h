// The one writer of meaning: takes a legal event, places it in its line's life, computes what is
// due, makes the resources that changed, checks them and appends everything in one transaction.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "daemon/base/clock.h"
#include "daemon/base/limits.h"
#include "daemon/ledger/accepted.h"
#include "daemon/ledger/tasks.h"
#include "daemon/store/jobs.h"
#include "mapping/due/due.h"
#include "mapping/fhir/bundle.h"
#include "mapping/fhir/selection.h"
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
  bool is_derived = true;             ///< kStored, kRepeated: false while its line is damaged
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
  std::string endpoint;  ///< its name, where there are several
  std::string refusal;   ///< why nothing was done about it; empty: it was
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

/// Which lines are to be derived again, and whether what differs is to be sent.
struct RemapOrder {
  std::string source, line_id, ward;  ///< those of the line; empty: whatever they are
  bool open_only = false;  ///< only lines that may be in place, or at which time changes something
  bool send = false;       ///< otherwise nothing is stored
  std::string by, why;     ///< for `send`; checked by whoever asks (admin/remap_rows.h)
  std::int64_t after = 0;  ///< only lines with a higher seq
};

/// A place in a resource that is written otherwise than before.
struct Change {
  std::string pointer;  ///< JSON Pointer (RFC 6901)
  /// A text or number itself, an object or array as JSON; empty where there is none.
  std::string before, after;
};

/// A resource that would be, or is, sent again.
struct Remapped {
  enum class State : std::uint8_t {
    kDiffers,  ///< from what was last issued; see `changes`
    kNotKept,  ///< what was last issued is no longer stored: sent to be sure
    kGivenUp,  ///< was in a delivery given up
    kNew,      ///< was not issued yet
  };
  std::string type, id;
  std::string_view role;  ///< see fhir::Resource
  State state = State::kDiffers;
  std::vector<Change> changes;  ///< for kDiffers: at most limits::kRemapChangesMax
};

/// One line derived again in which something differs, or that stands in the way.
struct RemappedLine {
  line::Key key;
  std::string ward;
  std::vector<Remapped> resources;
  std::size_t same = 0;     ///< resources made from other inputs that come out the same: not sent
  std::size_t waiting = 0;  ///< deliveries that wait in its lane before this one
  std::size_t on_hold = 0;  ///< of those, on hold: nothing behind them goes
  std::vector<std::int64_t> bundle_seqs;  ///< of the deliveries, one an endpoint, when it was sent
  std::string trouble;  ///< why nothing could be made or sent; empty when it could
};

struct RemapPage {
  std::vector<RemappedLine> lines;
  std::size_t looked_at = 0;  ///< lines, also those that the order is not about
  std::size_t chosen = 0;     ///< lines that it is about
  std::size_t same = 0;       ///< RemappedLine::same, of all lines chosen
  std::uint64_t of = 0;       ///< all lines there are
  std::int64_t after = 0;     ///< where the next page starts
  bool more = false;
  std::size_t not_kept = 0;  ///< lines it is about whose events are no longer kept: not derived
  std::string refusal;       ///< why it stopped: no room for more deliveries; empty: it did not
};

/// What one step did to lines that ended long ago.
struct StoppedKeeping {
  std::size_t looked_at = 0;  ///< 0: there are no more
  std::size_t lines = 0;      ///< of those, no longer kept
  std::size_t events = 0;     ///< whose bytes were removed
  store::QuietLine after;     ///< where the next step goes on
};

/// An endpoint that bundles are made for.
struct Destination {
  std::int64_t number = 0;  ///< see store::Store::EndpointNumber()
  fhir::Types types;        ///< that it gets; empty: all
};

/// What the ledger works with; all outlive the last job, or belong to `owner`.
struct Rules {
  const schemas::Bundled* schemas = nullptr;
  const due::Policy* policy = nullptr;
  const due::Zone* zone = nullptr;
  fhir::Context fhir;
  /// Each gets its own bundle of what is new, appended in the same transaction as the event.
  std::vector<Destination> destinations{Destination{}};
  /// Deliveries that may wait before new events are put off.
  std::uint64_t queue_bundles_max = limits::kQueueBundlesMax;
  /// Of what the pointers point to; empty when that outlives the last job anyway.
  std::shared_ptr<const void> owner = {};
};

/// Called on the store thread.
using Receipts = std::function<void(std::vector<Receipt>)>;

/// A stored event that can no longer be read (its contract changed without a migration) keeps its
/// line from going on: events for that line get kNotNow, the clock tries again each hour, and the
/// log says so each time. Other lines are not touched by it.
///
/// A line that is damaged (the disk gives back other bits than it was given) keeps on taking
/// events: they are stored as they came, the receipt says that nothing follows from them yet, and
/// nothing is made of the line. It is told to whoever lists lines, and looked at again each hour.
/// When all of it can be read again, everything follows from all its events: the damaged event that
/// is sent once more takes the place of its damaged bytes.
class Ledger {
 public:
  Ledger(store::Jobs& jobs, const base::Clock& clock, Rules rules);
  ~Ledger();

  /// Stores the submissions, in order, each for itself, in one transaction (shared with others);
  /// `receipts` gets one answer each, in the same order, after the commit.
  void Submit(std::vector<Submission> submissions, Receipts receipts);

  /// Looks again at every line whose next change is at or before the clock's now, in batches; when
  /// the clock was set back since the last time, or is behind what the store remembers, at every
  /// line that may have been told of too early;
  /// `done` gets the next instant at which something will change (empty: none), after the commit.
  void CatchUp(std::function<void(Result<std::optional<Instant>>)> done);

  /// Does what a person decided, each delivery whole, all in one transaction; of `all_of` at most
  /// limits::kDecisionsMax. Only what is on hold can be decided about.
  ///
  /// An event's id stands for its deliveries at all endpoints; otherwise each endpoint's delivery
  /// is a matter of its own.
  ///
  /// Released: the same bytes go again, first of their lane. A bundle that breaks our own
  /// structure, or whose stored bytes are damaged, never goes out as it is: its resources (of a
  /// damaged one all of its line's) are made anew from the line as it now stands, together with
  /// those of all that waits behind it (which was made on top of it), as one bundle for each
  /// endpoint, in place of what was made for the others at the same time if that is on hold, too;
  /// refused while that would not be legal either.
  ///
  /// Cancelled: the bundle is kept and never sent; what it held counts as not issued (see
  /// ForgetIssued(); of a damaged one all of its line's), so that the line's next bundle carries
  /// what still follows from the line.
  void Decide(Order order, std::function<void(Result<Ruling>)> done);

  /// Derives lines again from their stored events, by the rules as they now are, and compares with
  /// what was last issued: one page of lines, in one transaction of bounded size. With
  /// `order.send`, what differs (and nothing else) of each line goes to the end of its lane as one
  /// bundle, with a row that keeps who, why and when; a line in which nothing differs gets none.
  /// Repeating it is harmless: what was sent differs no more. What differs only in when it was made
  /// (authoredOn and lastModified of a Task) does not differ. Nothing is sent of a line whose
  /// resources would not be legal, and nothing once the queue is full.
  void Remap(RemapOrder order, std::function<void(Result<RemapPage>)> done);

  /// What an endpoint accepted of lines in a period, one page of lines, in one transaction of
  /// bounded size that changes nothing: for whoever reads it back (daemon/reconcile). When asked,
  /// also what it never got although it is to get it.
  void ListAccepted(AcceptedOrder order, std::function<void(Result<AcceptedPage>)> done);

  /// The Tasks of lines as they are now, one page of lines, in one transaction of bounded size that
  /// changes nothing. Patients and encounters are referred to by identifier.
  void ListTasks(TaskOrder order, std::function<void(Result<TaskPage>)> done);

  /// Sends resources again, as they were last accepted, or for the first time, as they were last
  /// made for another endpoint: one delivery or more at the end of each
  /// line's lane, each with a row that keeps who, why and when, all in one transaction. Left out is
  /// what is no longer the last word: a later delivery of the line holds it, or it was given up and
  /// is derived again with the line. So repeating it is harmless. Nothing once the queue is full.
  void SendAgain(AgainOrder order, std::function<void(Result<AgainDone>)> done);

  /// Looks at the next few lines, behind `after`, whose newest event came in at `until` or before;
  /// those that ended (see WhyKept()) are no longer kept: the bytes of their events and the line's
  /// own state go, who they were and the events' hashes stay. The same event again is then answered
  /// as ever; a new event for such a line is a contradiction (rule "no-longer-kept"), never the
  /// start of a new life. To be called in a job of the writer.
  Result<StoppedKeeping> StopKeeping(store::Store& store, Instant until,
                                     const store::QuietLine& after);

  /// Works by `rules` from the next job on; `done` is called on the store thread, with an error
  /// when the store could not begin it (full, stopped): then the old ones stay. A line stays as it
  /// is until it is derived again: at its next event or change, or by Remap().
  void ReplaceRules(Rules rules, std::function<void(const Result<void>&)> done);

  /// Adds a listener, called on the store thread after a commit that added bundles or changed when
  /// the clock must look. It must be quick, and safe to call until the last job is done.
  void OnNews(std::function<void()> news);

  struct Impl;  ///< of the files that implement it

 private:
  std::shared_ptr<Impl> impl_;  ///< jobs on their way hold it too
};

}  // namespace dwell::ledger
