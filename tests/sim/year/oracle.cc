#include "tests/sim/year/oracle.h"

#include <algorithm>

namespace dwell::year {

std::string Oracle::StageAt(const Due& due, Instant at) {
  if (at < due.due_at - kDueSoon) return "not-yet-due";
  if (at < due.due_at) return "due-soon";
  return at < due.due_at + kGrace ? "due" : "overdue";
}

/// When it had to be told as that.
Instant Oracle::Begins(const Due& due, const std::string& stage) {
  Instant at = due.due_at + kGrace;
  if (stage == "due") at = due.due_at;
  if (stage == "due-soon") at = due.due_at - kDueSoon;
  if (stage == "not-yet-due") at = due.opened_at;
  return std::max(at, due.opened_at);
}

void Oracle::Opens(const std::string& key, Instant due_at, Instant now) {
  const auto [at, is_new] = dues_.try_emplace(key, Due{due_at, now, {}, {}});
  if (!is_new) findings_.Broken("the oracle", "opens twice: " + key);
  ++tally_.dues;
}

bool Oracle::IsOpen(const std::string& key) const {
  const auto found = dues_.find(key);
  return found != dues_.end() && found->second.closed.empty();
}

void Oracle::Closes(const std::string& key, const std::string& stage, Instant now,
                    Instant up_since) {
  const auto found = dues_.find(key);
  if (found == dues_.end()) return findings_.Broken("the oracle", "closes nothing: " + key);
  Check(key, found->second, now, up_since);
  found->second.closed = stage;
}

void Oracle::Told(const ToldTask& task, Instant now, Instant up_since) {
  const auto found = dues_.find(task.key);
  const std::string what = task.key + " as " + task.stage + " at " + FormatInstant(now);
  if (found == dues_.end()) return findings_.Broken("nobody asked for it", what);
  Due& due = found->second;
  if (due.told == task.stage) return findings_.Broken("told twice", what);
  if (due.closed.empty()) return ToldOpen(due, task, now, up_since);
  if (task.stage != due.closed) {
    return findings_.Broken("told after its end", what + " instead of " + due.closed);
  }
  ++tally_.closed;
  dues_.erase(found);
}

void Oracle::ToldOpen(Due& due, const ToldTask& task, Instant now, Instant up_since) {
  const std::string what = task.key + " as " + task.stage + " at " + FormatInstant(now);
  const std::string right = StageAt(due, now);
  if (task.stage != right) {
    return findings_.Broken("told too early or wrongly",
                            what + ", but it is " + right + ", due " + FormatInstant(due.due_at));
  }
  due.told = task.stage;
  const Instant begins = Begins(due, task.stage);
  if (begins == due.opened_at) {  // by the event that opened it
    if (now != due.opened_at) findings_.Broken("told late", what);
    return;
  }
  if (up_since > begins) ++tally_.caught_up;
  const milliseconds late = now - std::max(begins, up_since);
  tally_.late_most = std::max(tally_.late_most, late);
  if (late > kLateMax)
    findings_.Broken("told late", what + " by ms " + std::to_string(late.count()));
  ++(task.stage == "due-soon" ? tally_.soon : task.stage == "due" ? tally_.due : tally_.overdue);
}

/// What had to be told a second ago, by a daemon that was at work then, was told.
void Oracle::Check(const std::string& key, const Due& due, Instant now, Instant up_since) {
  if (!due.closed.empty()) return findings_.Broken("never told as closed", key);
  const Instant then = now - kLateMax;
  if (up_since > then || due.opened_at > then) return;
  const std::string right = StageAt(due, then);
  const bool is_told = due.told == right || due.told == StageAt(due, now);
  if (!is_told) {
    findings_.Broken("never told", key + " is " + right + " at " + FormatInstant(then) +
                                       " and was told as " + due.told);
  }
}

void Oracle::CheckAll(Instant now, Instant up_since) {
  for (const auto& [key, due] : dues_) Check(key, due, now, up_since);
}

}  // namespace dwell::year
