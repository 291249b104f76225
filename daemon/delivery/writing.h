// How we write to the endpoint at present: what its statement says, what it was seen to refuse, and
// when the statement is to be read. Pure: told of facts and times. Inside of the engine.
#pragma once

#include <chrono>
#include <optional>

#include "daemon/delivery/statement.h"
#include "daemon/delivery/write_style.h"

namespace dwell::delivery {

/// Times are of the steady clock.
class Writing {
 public:
  using Time = std::chrono::steady_clock::time_point;

  /// `reads`: whether the statement is read at all; it never is when the pins leave no choice.
  /// `in_use`: as in_use() was when the last process ended.
  Writing(const Pins& pins, FhirRelease release, bool reads, std::optional<Identity> in_use);

  const WriteStyle& style() const { return style_; }

  /// Whether the statement should be read now. The endpoint is not paused.
  bool IsDue(Time now) const;
  /// When it should be; empty: not before something else happens.
  std::optional<Time> due_at() const;
  void Asked();
  /// What the reading came to. A reading that failed changes nothing. `is_out`: something may be on
  /// its way, so that the identity stays as it is for now.
  void Told(const Statement& statement, bool is_out, Time now);
  bool is_asking() const { return is_asking_; }
  /// Nothing goes out before this reading ended: the endpoint never told, or holds nothing yet that
  /// binds us, so the style may be wrong.
  bool is_blocking() const { return is_asking_ && blocks_; }
  /// A pause is over: who comes back may be another version.
  void CameBack(Time now);

  /// The endpoint holds, or may hold, something that was written by this.
  void Landed(Identity identity) { in_use_ = identity; }
  /// By what it last was; empty: it holds nothing of ours.
  std::optional<Identity> in_use() const { return in_use_; }
  /// A request of so many entries was too large.
  void TooLarge(std::size_t entries, Time now);
  /// What was learned that way is tried anew after limits::kShareRegrowAfter.
  void Regrow(Time now);

 private:
  void Choose(const Capability* capability, std::optional<Identity> in_use);

  Pins pins_;
  FhirRelease release_;
  bool reads_;
  WriteStyle style_;
  std::optional<Identity> in_use_;
  bool is_known_ = false;  ///< the endpoint told, if only that it has no statement
  bool is_asking_ = false;
  bool blocks_ = true;  ///< the next reading: at the start and after a pause, as long as not known
  std::optional<Time> due_at_;
  std::optional<Time> told_at_;
  std::optional<Time> shrunk_at_;
};

}  // namespace dwell::delivery
