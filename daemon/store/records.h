// What the store holds, row by row: events, lines, bundles, decisions, and what is counted.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/moment.h"
#include "mapping/line/line.h"

namespace dwell::store {

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
  std::optional<Instant> line_damaged_since = std::nullopt;    ///< see LineRecord; by FindEvent()
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
  std::optional<std::uint64_t> events;  ///< how many it has; empty: not counted (an older file)
  std::vector<std::string> raw_events;  ///< in order of arrival; filled by LoadLine only
  std::vector<Sha256> contents;         ///< of these, as they were told to AddEvent()
  /// What is read is not what SaveLine() was given: key, bundles, issued or summary (sum.h). Known
  /// of rows that this version wrote.
  bool damaged = false;
  std::optional<Instant> damaged_since;  ///< since when that is known, or that its events are
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
  bool damaged = false;  ///< the disk gives back another body than it was given; `body` is empty
  std::string body;      ///< the frozen Bundle; empty where a listing does not need it
  std::vector<DecisionRecord> decisions;  ///< oldest first; filled by BundlesOfEvent() only
};

/// BundleRecord::why of a bundle that Claim() put on hold.
inline constexpr std::string_view kDamagedBody =
    "its stored bundle is damaged: the disk gave back other bits than it was given";

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

}  // namespace dwell::store
