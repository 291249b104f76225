// The daemon's clockwork over a year: the real intake, ledger, store, schedule of the alarm,
// timekeeper and clean-up, on a disk in memory. Time is made up, and passes only between two calls.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "daemon/alarm/schedule.h"
#include "daemon/base/clock.h"
#include "daemon/base/timekeeper.h"
#include "daemon/intake/pipeline.h"
#include "daemon/ledger/ledger.h"
#include "daemon/store/committer.h"
#include "tests/sim/disk.h"
#include "tests/sim/process.h"
#include "tests/sim/year/oracle.h"

namespace dwell::year {

/// A machine's clocks: the true time, which its steady clock counts, and the wall clock that
/// somebody sets. No time service vouches for it. What a program is told is what base::Timekeeper
/// makes of them.
class MachineClock final : public base::Clock {
 public:
  explicit MachineClock(Instant begins) : true_(begins) {}

  Instant Now() const override;
  Instant true_now() const { return true_; }
  void MoveTo(Instant true_now) { true_ = true_now; }
  /// The wall clock is set so far ahead of the true time.
  void Set(milliseconds ahead) { ahead_ = ahead; }
  /// A program starts.
  void Begin() { keeper_ = {}; }

 private:
  Instant true_;
  milliseconds ahead_{0};
  mutable base::Timekeeper keeper_;
};

/// The zone of the ward and the rules that oracle.h and nurse.h know.
ledger::Rules RulesOfTheYear(const std::string& zone);
/// Its rounds, in minutes after midnight.
std::vector<minutes> RoundsOfTheYear();

class House {
 public:
  House(MachineClock& clock, const ledger::Rules& rules, std::uint64_t seed);
  ~House();
  House(const House&) = delete;
  House& operator=(const House&) = delete;

  bool is_up() const { return life_ != nullptr; }
  void Start();
  /// In good order, or the power goes, or it is killed.
  enum class End { kOrderly, kPowerCut, kKilled };
  void Stop(End end);

  /// The answer's status.
  int Submit(const std::string& raw);
  /// When the alarm looks at the clock next, of the true time; empty: nothing will ever be due.
  std::optional<Instant> NextLook() const;
  void Look();
  /// Bodies after two days, ended lines after three.
  void CleanUp();
  /// What was told since the last call. All that is made is delivered at once.
  std::vector<ToldTask> TakeTold();
  std::uint64_t disk_bytes() const { return disk_.used_bytes(); }
  std::uint64_t rounds() const { return catch_ups_; }

 private:
  struct Life;
  void Work();
  void Deliver();

  MachineClock& clock_;
  const ledger::Rules& rules_;
  sim::Disk disk_;
  std::unique_ptr<Life> life_;
  std::vector<ToldTask> told_;
  std::uint64_t catch_ups_ = 0;
};

}  // namespace dwell::year
