#include "daemon/delivery/writing.h"

#include <algorithm>

namespace dwell::delivery {

Writing::Writing(const Pins& pins, FhirRelease release, bool reads, std::optional<Identity> in_use)
    : pins_(pins),
      release_(release),
      reads_(reads && !(pins.interaction && pins.identity)),
      style_(ChooseStyle(nullptr, pins, release, in_use)),
      in_use_(in_use) {
  if (reads_) due_at_ = Time{};
}

bool Writing::IsDue(Time now) const { return !is_asking_ && due_at_ && *due_at_ <= now; }

std::optional<Writing::Time> Writing::due_at() const { return is_asking_ ? std::nullopt : due_at_; }

void Writing::Asked() {
  is_asking_ = true;
  blocks_ = blocks_ || !in_use_;
}

void Writing::Told(const Statement& statement, bool is_out, Time now) {
  is_asking_ = false;
  blocks_ = false;
  told_at_ = now;
  due_at_ = now + limits::kStatementEvery;
  if (!statement.is_told) return;  // what was known stays
  is_known_ = true;
  const std::optional<Identity> out = is_out ? std::optional(style_.identity) : std::nullopt;
  Choose(statement.capability ? &*statement.capability : nullptr, in_use_ ? in_use_ : out);
}

void Writing::Choose(const Capability* capability, std::optional<Identity> in_use) {
  const std::size_t learned = style_.entries_max;
  style_ = ChooseStyle(capability, pins_, release_, in_use);
  style_.entries_max = std::min(style_.entries_max, learned);
}

void Writing::CameBack(Time now) {
  const bool is_fresh = told_at_ && now - *told_at_ < limits::kStatementRest;
  if (!reads_ || (is_known_ && is_fresh)) return;
  due_at_ = now;
  blocks_ = !is_known_;
}

void Writing::TooLarge(std::size_t entries, Time now) {
  if (Shrink(style_, entries)) shrunk_at_ = now;
}

void Writing::Regrow(Time now) {
  if (!shrunk_at_ || now - *shrunk_at_ < limits::kShareRegrowAfter) return;
  style_.entries_max = std::min(style_.entries_max * 2, limits::kShareEntriesMax);
  shrunk_at_.reset();
  if (style_.entries_max < limits::kShareEntriesMax) shrunk_at_ = now;
}

}  // namespace dwell::delivery
