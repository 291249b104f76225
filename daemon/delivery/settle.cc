#include "daemon/delivery/settle.h"

namespace dwell::delivery {

using store::DeliveryState;

store::Settlement Settle(const store::BundleRecord& bundle, const Verdict& verdict, Instant now,
                         std::chrono::milliseconds wait, std::chrono::milliseconds pause) {
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
  settlement.not_before = verdict.untouched ? bundle.not_before : now + pause + wait;
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
