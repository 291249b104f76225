#include "daemon/intake/tally.h"

#include "schemas/base/check.h"

namespace dwell::intake {

EventEnd EndOf(const ledger::Receipt& receipt) {
  switch (receipt.answer) {
    case ledger::Answer::kStored:
      return EventEnd::kStored;
    case ledger::Answer::kRepeated:
      return EventEnd::kRepeated;
    case ledger::Answer::kConflict:
      return EventEnd::kConflict;
    case ledger::Answer::kContradiction:
      return EventEnd::kContradiction;
    case ledger::Answer::kNotNow:
      return EventEnd::kNotNow;
  }
  CHECK(false && "an answer that nobody counts");
  return EventEnd::kNotNow;
}

EventEnd EndOf(const Refusal& refusal) {
  if (refusal.status == 413) return EventEnd::kTooLarge;
  return refusal.status == 422 ? EventEnd::kContract : EventEnd::kNotJson;
}

Tally::Counts Tally::Read() const {
  Counts counts{};
  for (std::size_t i = 0; i < kEventEnds; ++i) {
    counts[i] = counts_[i].load(std::memory_order_relaxed);
  }
  return counts;
}

}  // namespace dwell::intake
