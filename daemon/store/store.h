// The durable store: events, lines, what is due, and the outgoing bundles in their lanes.
// The only room that knows SQL. Used from one thread (see writer.h), inside a transaction.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/base/limits.h"
#include "daemon/store/silence.h"
#include "mapping/event/moment.h"
#include "mapping/line/line.h"
#include "schemas/base/result.h"

namespace dwell::store {

class Files;

using Sha256 = std::array<std::uint8_t, 32>;

/// States of a delivery, named as FHIR Task.status names them.
enum class DeliveryState : std::uint8_t { kReady, kInProgress, kCompleted, kOnHold, kCancelled };
/// "ready", "in-progress", "completed", "on-hold", "cancelled".
std::string_view DeliveryStateName(DeliveryState state);

struct EventRecord {
  std::int64_t seq = 0;  ///< order of arrival, from 1
  std::string source;
  std::string id;
  std::string kind;
  Sha256 content{};  ///< of the raw bytes
  Instant received_at{};
  std::string line_id = {};  ///< filled by FindEvent() only, as is the next
  std::optional<Instant> no_longer_kept_since = std::nullopt;  ///< see LineRecord
  std::string raw;  ///< as received; empty when it is no longer kept
};

/// A line with everything needed to derive it again.
struct LineRecord {
  std::int64_t seq = 0;  ///< 0 for a line not yet stored
  line::Key key;
  std::string issued;                  ///< the caller's own encoding of fhir::Issued
  std::uint64_t bundles = 0;           ///< how many bundles were made for this line
  std::optional<Instant> next_change;  ///< when the clock must look at it again
  Instant last_event_at{};             ///< when the newest of its events came in; never goes back
  /// Since then neither the bytes of its events nor `issued` and `summary` are stored:
  /// StopKeeping()
  std::optional<Instant> no_longer_kept_since;
  std::string summary;  ///< JSON object for listings (`dwell lines`), made by the ledger
  std::vector<std::string> raw_events;  ///< in order of arrival; filled by LoadLine only
};

/// What became of a delivery on hold by a person's decision.
enum class Act : std::uint8_t {
  kReleased,   ///< ready again, the same bytes
  kCancelled,  ///< given up
  kMadeAgain,  ///< its resources were made anew, as another bundle, and go in its place
  /// None was on hold: the bundle itself was made because what it holds is now written otherwise
  /// than it was issued.
  kDerivedAgain,
  /// None was on hold: the bundle itself was made because the endpoint no longer holds, or holds
  /// otherwise, what it had accepted.
  kSentAgain,
};
/// "released", "cancelled", "made-again", "derived-again", "sent-again".
std::string_view ActName(Act act);

/// Kept for good: who decided what about which delivery, when and why.
struct DecisionRecord {
  std::int64_t seq = 0;
  std::int64_t bundle_seq = 0;
  Instant at{};
  Act act = Act::kReleased;
  std::int64_t made_again_as = 0;     ///< for kMadeAgain: that bundle; 0: nothing was left to tell
  std::uint32_t former_attempts = 0;  ///< counted until then
  std::string by;  ///< a person of the house: for operators' eyes, never for logs
  std::string why;
  std::string former_why;  ///< why the delivery was on hold
};

struct BundleRecord {
  std::int64_t seq = 0;
  std::int64_t line_seq = 0;   ///< with the endpoint: the lane
  std::int64_t endpoint = 0;   ///< where it goes, see EndpointNumber(); 0: the main one
  std::int64_t ward = 0;       ///< whose turn it takes, see WardNumber(); 0: not known
  std::int64_t event_seq = 0;  ///< 0 when the clock made it
  Instant made_at{};
  DeliveryState state = DeliveryState::kReady;
  Instant not_before{};  ///< for kReady
  std::uint32_t attempts = 0;
  bool uncertain = false;  ///< an attempt ended without an answer after it was written
  std::string why;         ///< last refusal or failure, in words; no personal data
  std::string outcome;     ///< OperationOutcome or excerpt kept with kOnHold
  std::optional<Instant> settled_at;
  std::uint32_t entries = 0;  ///< of the Bundle: as many must the endpoint's answer have
  bool kept = true;           ///< false: RemoveBodies() took the body and the outcome away
  std::string body;           ///< the frozen Bundle; empty where a listing does not need it
  std::vector<DecisionRecord> decisions;  ///< oldest first; filled by BundlesOfEvent() only
};

/// What a delivery attempt ended in; written by Settle().
struct Settlement {
  std::int64_t bundle_seq = 0;
  DeliveryState state = DeliveryState::kCompleted;  ///< kCompleted, kReady (again) or kOnHold
  Instant at{};
  Instant not_before{};  ///< for kReady
  bool uncertain = false;
  bool counts = true;  ///< whether the attempt is counted
  std::string why;
  std::string outcome;
};

struct QueueRow {
  std::int64_t bundle_seq = 0;
  std::string source, line_id, event_id;  ///< event_id is empty for a bundle of the clock
  DeliveryState state = DeliveryState::kReady;
  Instant made_at{};
  Instant not_before{};
  std::uint32_t attempts = 0;
  bool uncertain = false;
  std::string why;
  std::int64_t endpoint = 0;              ///< see BundleRecord
  std::vector<DecisionRecord> decisions;  ///< about it so far, oldest first
};

/// A code of events that the running code maps did not know.
struct UnknownCodeRecord {
  std::string group;  ///< of our CodeSystem; empty, like `code`, for all there was no room for
  std::string code;
  std::uint64_t events = 0;  ///< that held it
  Instant first_seen{};      ///< when the first and the last of them came in
  Instant last_seen{};
};

/// Patient identifiers that failed a check digit which their system does not guarantee.
struct DoubtfulIdentifierRecord {
  std::string source;        ///< of the events; empty, like `system`, for all there was no room for
  std::string system;        ///< of the identifier; its value is counted nowhere
  std::uint64_t events = 0;  ///< that held one
  Instant first_seen{};      ///< when the first and the last of them came in
  Instant last_seen{};
};

/// Bundles by state.
struct DeliveryCounts {
  std::uint64_t ready = 0, in_progress = 0, completed = 0, on_hold = 0, cancelled = 0;
};

/// An endpoint that bundles were ever made for.
struct EndpointRecord : DeliveryCounts {
  std::int64_t seq = 0;  ///< its number, from 0 without gaps
  std::string name;      ///< "main" for 0
  std::string identity;  ///< see KeepIdentity(); empty: none is kept
};

struct Counts : DeliveryCounts {
  std::uint64_t events = 0, lines = 0;
  std::optional<Instant> oldest_waiting;  ///< made_at of the oldest ready or in-progress bundle
};

/// A line that the clock no longer looks at; also a place in a listing of them.
struct QuietLine {
  Instant last_event_at{};
  std::int64_t seq = 0;
};

/// What else than its events a line hangs on.
struct Ties {
  bool open_delivery = false;    ///< something in its lane is neither completed nor cancelled
  bool perhaps_arrived = false;  ///< something was cancelled while nobody knew whether it arrived
  bool awaits = false;           ///< an event of it names one that has not come
  std::optional<Instant> last_settled_at;  ///< of its deliveries, on hold counts too
};

/// Of a page of the store's file, and of its log.
inline constexpr std::uint64_t kPageBytes = 8192;

/// Of the store's file. The log (-wal) is not counted.
struct Pages {
  std::uint64_t all = 0;
  std::uint64_t free = 0;  ///< of these: hold nothing, to be used again
};

struct Options {
  /// Below this HasRoom() says no.
  std::uint64_t free_bytes_min = limits::kStoreFreeBytesMin;
  /// Where its files are (see files.h), outlives the store; null: the system's.
  Files* files = nullptr;
};

/// One SQLite file: WAL, synchronous FULL, exclusive locking, one connection.
/// Fails with kBusy (somebody holds it), kForeign (not ours, or newer), kCorrupt, kFull, kIo.
/// Crash-safe because every change is part of a transaction and Commit() returns after the sync.
class Store {
 public:
  /// Opens or creates. A file that is not ours, newer or corrupt is refused and left untouched.
  /// Every in-progress bundle becomes ready again, marked uncertain.
  /// A file of an older version is brought to this program's, each step in one transaction.
  static Result<std::unique_ptr<Store>> Open(const std::string& path, const Options& options = {});
  ~Store();
  Store(const Store&) = delete;
  Store& operator=(const Store&) = delete;

  Result<void> Begin();
  /// After success everything since Begin() is on disk. After failure nothing is.
  Result<void> Commit();
  void Rollback();
  /// Moves the pages that wait in the log (WAL) into the file, so that the log starts again from
  /// its beginning; the more pages wait, the longer it takes. Outside a transaction only.
  Result<void> Checkpoint();
  /// The same, and empties the log's file: for an orderly end.
  Result<void> Finish();
  /// Pages that wait in the log.
  std::size_t log_pages() const;
  /// Whether the file system has the room that must remain free. False also when it cannot be
  /// asked.
  bool HasRoom() const;
  /// Room on the store's file system; empty when it cannot be asked.
  std::optional<std::uint64_t> FreeBytes() const;

  Result<std::optional<EventRecord>> FindEvent(std::string_view source, std::string_view id);
  /// The events of that id, one for each source that uses it, by source. Costs a look-up for each
  /// source there is: for a person's question, not for every event.
  Result<std::vector<EventRecord>> FindEvents(std::string_view id);
  /// The id of an event; empty when there is none of that seq.
  Result<std::string> IdOfEvent(std::int64_t event_seq);
  /// Returns the event's seq.
  Result<std::int64_t> AddEvent(const EventRecord& event, std::int64_t line_seq);

  /// Remembers that an event of the line names an event that has not come. The first line to name
  /// it stays.
  Result<void> Await(std::string_view source, std::string_view id, std::int64_t line_seq);
  /// The line that waits for this event; empty when none does. While nothing at all is awaited it
  /// costs nothing.
  Result<std::optional<std::int64_t>> AwaitedBy(std::string_view source, std::string_view id);
  /// The event came.
  Result<void> StopAwaiting(std::string_view source, std::string_view id);

  /// One event more held this code, which the code maps do not know. Beyond
  /// limits::kUnknownCodesMax different ones, new ones are counted together.
  Result<void> CountUnknownCode(std::string_view group, std::string_view code, Instant at);
  /// All of them, in the order in which they were first seen.
  Result<std::vector<UnknownCodeRecord>> ListUnknownCodes();

  /// One event more of this source held a doubtful identifier of this system. Beyond
  /// limits::kDoubtfulIdentifiersMax different pairs, new ones are counted together.
  Result<void> CountDoubtfulIdentifier(std::string_view source, std::string_view system,
                                       Instant at);
  /// All of them, in the order in which they were first seen.
  Result<std::vector<DoubtfulIdentifierRecord>> ListDoubtfulIdentifiers();

  Result<std::optional<LineRecord>> LoadLine(const line::Key& key);
  Result<std::optional<LineRecord>> LoadLine(std::int64_t line_seq);
  /// The key alone.
  Result<std::optional<line::Key>> KeyOfLine(std::int64_t line_seq);
  /// Inserts (seq 0) or updates; returns the seq. raw_events and no_longer_kept_since are not
  /// written.
  Result<std::int64_t> SaveLine(const LineRecord& line);
  /// Lines whose next_change is at or before `now`, oldest first, at most `max`.
  Result<std::vector<std::int64_t>> LinesToChange(Instant now, std::size_t max);
  Result<std::optional<Instant>> NextChange();

  /// The number of an endpoint by its name; given when it is new, and its for good.
  Result<std::int64_t> EndpointNumber(std::string_view name);
  /// Keeps by what this endpoint, which was numbered, holds or may hold resources of ours, in the
  /// caller's own words; empty: it holds none.
  Result<void> KeepIdentity(std::int64_t endpoint, std::string_view identity);
  /// The number of a ward by its name, likewise. Beyond limits::kWardsMax different ones: 0.
  Result<std::int64_t> WardNumber(std::string_view name);

  /// Appends to the end of its lane; returns the bundle's seq.
  Result<std::int64_t> AddBundle(const BundleRecord& bundle);
  /// Takes up to `max` bundles that are ready at `now` and head their lane at this endpoint, with
  /// their bodies, and marks them in-progress. A lane with anything in-progress or on-hold gives
  /// nothing. Wards take turns: each that has something gives one, then two, then four and so on;
  /// the next call begins after the ward that gave last. Within a ward those whose wait is over
  /// come first, then the oldest.
  Result<std::vector<BundleRecord>> Claim(std::int64_t endpoint, Instant now, std::size_t max);
  Result<void> Settle(const Settlement& settlement);
  /// Lane heads of this endpoint that would become ready later than `latest` become so then.
  Result<void> EndWaitsBy(std::int64_t endpoint, Instant latest);
  /// The earliest not_before of a lane head of this endpoint that is ready (or any that has come
  /// since 1970 began); empty when nothing waits.
  Result<std::optional<Instant>> NextReady(std::int64_t endpoint);

  /// Without `oldest_waiting`: from memory, costs nothing.
  const Counts& counts() const;
  /// When the newest stored event of each source came in and how long its usual gap is, by name;
  /// from memory, too. Beyond limits::kSourcesMax different ones those that came later are one,
  /// without a name.
  std::vector<SourceRecord> sources() const;
  /// All endpoints there ever were, by number, with their counts; from memory, too.
  const std::vector<EndpointRecord>& endpoints() const;
  /// For a person: empty while there is only one.
  std::string NameOfEndpoint(std::int64_t number) const;
  Result<Counts> Count();
  /// Deliveries that are not completed or cancelled, oldest first, at most `max`, seq above
  /// `after`.
  Result<std::vector<QueueRow>> ListQueue(std::int64_t after, std::size_t max);
  /// All bundles that came from an event, oldest first, without bodies.
  Result<std::vector<BundleRecord>> BundlesOfEvent(std::int64_t event_seq);

  /// A bundle with its body, if that is still kept.
  Result<std::optional<BundleRecord>> FindBundle(std::int64_t bundle_seq);
  /// Bundles of a line that were not cancelled and whose body is still kept, the newest first.
  Result<std::vector<std::int64_t>> KeptBundles(std::int64_t line_seq);
  /// Bundles of a line that are open, or were completed at `since` or after, the newest first;
  /// without bodies. Those of all endpoints.
  Result<std::vector<BundleRecord>> BundlesSince(std::int64_t line_seq, Instant since);
  /// What waits in the lanes of a line, by endpoint and then in order, without bodies.
  Result<std::vector<BundleRecord>> OpenOfLine(std::int64_t line_seq);
  /// Bundles on hold whose `why` contains `part` (byte for byte), by seq above `after`, at most
  /// `max`.
  Result<std::vector<std::int64_t>> OnHold(std::int64_t after, std::string_view part,
                                           std::size_t max);
  /// Writes the decision down and does it; returns its seq. The bundle must be on hold, or ready
  /// for kMadeAgain. Released: ready at once, attempts at 0, where it was in its lane. Otherwise:
  /// cancelled and kept, and its lane moves on. The former_ members are read from the bundle.
  Result<std::int64_t> Decide(const DecisionRecord& decision);
  /// Writes down (kDerivedAgain, kSentAgain) why a bundle just added was made; the bundle stays as
  /// it is, and its `entries` say how much it holds. Returns its seq. The former_ members are not
  /// used.
  Result<std::int64_t> WriteDown(const DecisionRecord& decision);
  /// All decisions about a bundle, oldest first.
  Result<std::vector<DecisionRecord>> DecisionsAbout(std::int64_t bundle_seq);

  /// Takes away the bodies and outcomes of at most `max` bundles that were completed or cancelled
  /// at `until` or before, oldest first; returns of how many. Everything else about them stays.
  /// Never of one that is open, nor of one that was cancelled while nobody knew whether it had
  /// arrived.
  Result<std::size_t> RemoveBodies(Instant until, std::size_t max);
  /// Lines that the clock no longer looks at, whose newest event came in at `until` or before and
  /// that are still kept: by age, from behind `after` on, at most `max`.
  Result<std::vector<QuietLine>> QuietLines(const QuietLine& after, Instant until, std::size_t max);
  Result<Ties> TiesOf(std::int64_t line_seq);
  /// Takes away the bytes of the line's events, and its `issued` and `summary`; returns of how many
  /// events. What stays: that line and those events were there, when they came, their hashes and
  /// what became of their deliveries. Whether a line may go is not asked here.
  Result<std::size_t> StopKeeping(std::int64_t line_seq, Instant at);
  /// Gives free pages above `keep_free` back to the file system, at most `max`; returns how many.
  /// The file is shorter after the next checkpoint.
  Result<std::size_t> GiveBackPages(std::uint64_t keep_free, std::size_t max);
  Result<Pages> CountPages();

  /// What the program remembers for itself under a name; empty when it never did.
  Result<std::string> FindNote(std::string_view name);
  Result<void> KeepNote(std::string_view name, std::string_view text);

  /// Lines (summary and next_change, no events), by seq above `after`, at most `max`.
  Result<std::vector<LineRecord>> ListLines(std::int64_t after, std::size_t max);

  struct Db;  ///< of the files that implement it

 private:
  explicit Store(std::unique_ptr<Db> db);
  Result<void> Recover();
  std::unique_ptr<Db> db_;
};

}  // namespace dwell::store
