#include "daemon/delivery/settle.h"

#include <algorithm>

namespace dwell::delivery {

using std::chrono::milliseconds;
using store::DeliveryState;

milliseconds AgeOf(const store::BundleRecord& bundle, Instant now) {
  return std::max(milliseconds(0), milliseconds(now - bundle.made_at));
}

milliseconds WaitOf(const Verdict& verdict, const store::BundleRecord& bundle,
                    const Backoff& backoff, Instant now, std::uint64_t random) {
  if (verdict.retry_after) return *verdict.retry_after;
  if (verdict.course == Course::kWait) return WaitAtAge(backoff, AgeOf(bundle, now), random);
  return WaitAfter(backoff, bundle.attempts + 1, random);
}

store::Settlement Settle(const store::BundleRecord& bundle, const Verdict& verdict, Instant now,
                         milliseconds wait, milliseconds pause) {
  store::Settlement settlement;
  settlement.bundle_seq = bundle.seq;
  settlement.at = now;
  settlement.why = verdict.why;
  switch (verdict.course) {
    case Course::kDone:
      settlement.state = DeliveryState::kCompleted;
      return settlement;
    case Course::kHold:
      settlement.state = DeliveryState::kOnHold;
      settlement.uncertain = bundle.uncertain || verdict.uncertain;
      settlement.outcome = verdict.outcome;
      return settlement;
    case Course::kAgain:
    case Course::kPause:
    case Course::kWait:  // uses up no attempts: those are for what the endpoint says to the bundle
      break;
  }
  settlement.state = DeliveryState::kReady;
  settlement.uncertain = bundle.uncertain || verdict.uncertain;
  settlement.counts = verdict.course == Course::kAgain;
  settlement.not_before =
      verdict.untouched || verdict.apart ? bundle.not_before : now + pause + wait;
  return settlement;
}

store::Settlement GiveBack(const store::BundleRecord& bundle, Instant now) {
  store::Settlement settlement;
  settlement.bundle_seq = bundle.seq;
  settlement.state = DeliveryState::kReady;
  settlement.at = now;
  settlement.not_before = bundle.not_before;
  settlement.uncertain = bundle.uncertain;
  settlement.counts = false;
  settlement.why = bundle.why;
  return settlement;
}

}  // namespace dwell::delivery
