// Whoever looks after one place for a line: puts a line in, looks at it more or less in time, takes
// it out in time or late, and some time later the next. Tells the oracle what follows from each
// event, by the rules of the policy in house.cc said in other words.
#pragma once

#include <optional>
#include <string>

#include "tests/sim/random.h"
#include "tests/sim/year/oracle.h"

namespace dwell::year {

class Nurse {
 public:
  Nurse(int number, Instant begins, std::uint64_t seed, Almanac& almanac, Oracle& oracle);

  /// When the next event is told.
  Instant next() const { return next_; }
  /// The next event, told at `now`, with what it means told to the oracle.
  std::string Tell(Instant now, Instant up_since);
  std::uint64_t lines() const { return lines_; }

 private:
  enum class Act { kInsert, kCheck, kRedress, kRemove, kLook };
  struct Plan {
    Act act;
    std::optional<Instant> at;
  };

  Instant In(std::int64_t least_min, std::int64_t most_min, Instant from);
  void Choose(Instant now);
  void Insert(Instant now);
  void Check(Instant now, Instant up_since);
  void Redress(Instant now, Instant up_since);
  void Remove(Instant now, Instant up_since);
  void Look(Instant now, Instant up_since);
  void OpenCheck(Instant happened, bool is_insertion, Instant now);
  void OpenDressing(Instant happened, Instant now);
  std::string Key(const char* rule, const std::string& anchor) const {
    return line_ + "/" + rule + "/" + anchor;
  }
  std::string Write(const char* kind, Instant now, const std::string& members) const;

  int number_;
  std::string patient_;
  sim::Random random_;
  Almanac& almanac_;
  Oracle& oracle_;

  // The next event.
  Act act_ = Act::kInsert;
  Instant happened_{}, next_{};
  std::string id_;

  // The line.
  bool is_midline_ = false;
  std::string line_;
  std::optional<Instant> check_at_, redress_at_, remove_at_, look_at_, insert_at_;
  Instant watch_ends_{};
  std::string removal_key_, check_key_, dressing_key_, remove_now_key_, watch_key_;
  bool is_grade_high_ = false;
  std::uint64_t lines_ = 0, events_ = 0;
};

}  // namespace dwell::year
