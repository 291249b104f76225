#include "daemon/delivery/health.h"

#include <algorithm>

namespace dwell::delivery {

Health::Health(std::size_t in_flight_max, Backoff backoff)
    : in_flight_max_(in_flight_max), backoff_(backoff), allowed_(in_flight_max) {}

void Health::Heed(const Sign& sign, Time now, std::uint64_t random) {
  switch (sign.kind) {
    case Sign::Kind::kNone:
      return;
    case Sign::Kind::kWell:
      return Succeeded();
    case Sign::Kind::kStrained:
      return Strained(now, random);
    case Sign::Kind::kDown:
      return Down(now, sign.asked, random);
  }
}

void Health::Succeeded() {
  strains_ = 0;
  pauses_ = 0;
  allowed_ = std::min(allowed_ * 2, in_flight_max_);
}

void Health::Strained(Time now, std::uint64_t random) {
  // After a pause a single failed probe is enough to wait again.
  if (++strains_ >= kStrainsMax || pauses_ > 0) Down(now, std::nullopt, random);
}

void Health::Down(Time now, std::optional<std::chrono::milliseconds> asked, std::uint64_t random) {
  // What was in flight when the first failed belongs to the same pause.
  if (now >= paused_until_) ++pauses_;
  allowed_ = 1;
  strains_ = 0;
  const auto wait = asked.value_or(WaitAfter(backoff_, pauses_, random));
  paused_until_ = std::max(paused_until_, now + wait);
}

std::size_t Health::Allowed(Time now) const { return now < paused_until_ ? 0 : allowed_; }

}  // namespace dwell::delivery
