// The receiver: a model of a FHIR server that applies transactions of PUTs, remembers in which
// order, and has moods. It never forgets what it took.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <string>

#include "daemon/delivery/statement.h"
#include "daemon/delivery/write_style.h"
#include "daemon/net/exchange.h"
#include "daemon/store/store.h"
#include "tests/sim/findings.h"
#include "tests/sim/random.h"

namespace dwell::sim {

enum class Mood : std::uint8_t {
  kWell,
  kUnreachable,       ///< no connection
  kUnavailable,       ///< 503
  kUnavailableUntil,  ///< 503 with Retry-After
  kTooMany,           ///< 429 with Retry-After
  kTakesSilently,     ///< takes it, and the answer never comes
  kBreaksOff,         ///< takes nothing and closes in the middle
  kSignInPage,        ///< 200 and HTML, and took nothing
  kFails,             ///< 500
  kConflict,          ///< 409
  kForbids,           ///< 401
  kHalfAnswer,        ///< takes it; its answer is cut off
};
inline constexpr std::uint64_t kMoods = 12;

/// What the peer has of one bundle.
struct Taken {
  std::string body;
  std::int64_t lane = 0;
  std::size_t times = 0;
};

/// What it holds of a Task.
struct TaskSeen {
  std::int64_t lane = 0;
  std::string status, stage;  ///< the code of Task.businessStatus; empty: none
  Instant due_at = Instant::min();
};

class Peer {
 public:
  /// Stands in its refusals; must not be logged or come back in words of ours.
  static constexpr const char* kSecret = "Zp9-outcome-secret";

  Peer(Random& random, Findings& findings) : random_(random), findings_(findings) {}

  void SetMood(Mood mood) { mood_ = mood; }
  Mood mood() const { return mood_; }
  /// From now on it refuses bundles that speak of this line (422).
  void Refuse(const std::string& line_id) { refused_line_ = line_id; }

  /// From now on its statement says whether it takes ids of the sender's, or conditions instead.
  void SayWhetherIdsAreTaken(bool takes_ids) { takes_ids_ = takes_ids; }
  /// What reading its statement comes to; only when it is well it comes to anything.
  delivery::Statement Tell() const;

  /// One attempt arrives, written by `identity`; what its sender will get to see of it. `wall_most`
  /// is the latest that the sender's clock ever showed.
  net::Exchange Receive(const store::BundleRecord& bundle, delivery::Identity identity,
                        Instant wall_most);

  /// By the bundle's seq.
  const std::map<std::int64_t, Taken>& taken() const { return taken_; }
  /// By "Task/id".
  const std::map<std::string, TaskSeen>& tasks() const { return tasks_; }
  /// The wait that an answer to the mood names, in seconds; 0: none.
  static std::int64_t AskedSeconds(const net::Exchange& exchange);

 private:
  void Take(const store::BundleRecord& bundle, delivery::Identity identity, Instant wall_most);
  void Hold(const store::BundleRecord& bundle, Instant wall_most);

  Random& random_;
  Findings& findings_;
  Mood mood_ = Mood::kWell;
  bool takes_ids_ = true;
  std::optional<delivery::Identity> identity_;  ///< by which it took the first
  std::optional<std::string> refused_line_;
  std::map<std::int64_t, Taken> taken_;
  std::map<std::int64_t, std::int64_t> last_of_lane_;  ///< highest seq taken, by lane
  std::map<std::string, std::string> resource_of_business_key_;
  std::map<std::string, TaskSeen> tasks_;
};

const char* MoodName(Mood mood);

}  // namespace dwell::sim
