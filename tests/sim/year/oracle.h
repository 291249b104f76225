// What must be told when, kept by hand and knowing nothing of mapping/due: each due thing with its
// instant, what was told of it, and how late. The rules are those of the policy in house.cc.
#pragma once

#include <map>
#include <string>

#include "tests/sim/findings.h"
#include "tests/sim/year/almanac.h"

namespace dwell::year {

using std::chrono::milliseconds;
using std::chrono::minutes;

/// A Task as it was told: "line/rule/anchor" and the code of its businessStatus.
struct ToldTask {
  std::string key, stage;
};

struct Tally {
  std::uint64_t dues = 0;
  std::uint64_t soon = 0, due = 0, overdue = 0;  ///< told by the clock
  std::uint64_t closed = 0;
  std::uint64_t caught_up = 0;  ///< told only after a start, because it fell into a stop
  milliseconds late_most{0};    ///< behind its instant, or behind the start that it had to wait for
};

class Oracle {
 public:
  /// A due thing is told as soon as this, before and after its instant.
  static constexpr minutes kDueSoon{60}, kGrace{30};
  static constexpr milliseconds kLateMax{1'000};

  explicit Oracle(sim::Findings& findings) : findings_(findings) {}

  /// An event told at `now` starts the clock of a due thing, or ends it ("settled" or
  /// "no-longer-needed").
  void Opens(const std::string& key, Instant due_at, Instant now);
  void Closes(const std::string& key, const std::string& stage, Instant now, Instant up_since);
  bool IsOpen(const std::string& key) const;
  /// The daemon told it at `now`, and has been at work since `up_since`.
  void Told(const ToldTask& task, Instant now, Instant up_since);
  /// Nothing of what the clock should have told by now may be missing.
  void CheckAll(Instant now, Instant up_since);

  const Tally& tally() const { return tally_; }

 private:
  struct Due {
    Instant due_at, opened_at;
    std::string told;    ///< the last stage told; empty: nothing yet
    std::string closed;  ///< as what it must be told now; empty: it is open
  };

  static std::string StageAt(const Due& due, Instant at);
  static Instant Begins(const Due& due, const std::string& stage);
  void Check(const std::string& key, const Due& due, Instant now, Instant up_since);
  void ToldOpen(Due& due, const ToldTask& task, Instant now, Instant up_since);

  sim::Findings& findings_;
  std::map<std::string, Due> dues_;
  Tally tally_;
};

}  // namespace dwell::year
