#include "daemon/delivery/token_state.h"

#include <algorithm>

#include "daemon/base/limits.h"

namespace dwell::delivery {
namespace {

using std::chrono::seconds;

/// Renewed when a fifth of its life is left, a minute at most: a token of five minutes (SMART's
/// advice) lives four, one of an hour 59 minutes.
seconds RenewMargin(seconds lifetime) {
  return std::min<seconds>(limits::kTokenRenewMarginMax, lifetime / 5);
}

/// Not used in the last moments: it must still be good when the endpoint reads it.
seconds EndMargin(seconds lifetime) {
  return std::min<seconds>(limits::kTokenEndMarginMax, lifetime / 10);
}

}  // namespace

TokenState::Step TokenState::Next(Time now) const {
  const bool may_ask = now >= rests_until_;
  if (field_.empty() || now >= ends_at_) return may_ask ? Step::kRenew : Step::kRest;
  return now >= renew_at_ && may_ask ? Step::kUseRenew : Step::kUse;
}

void TokenState::Got(std::string token, seconds lifetime, Time asked) {
  field_ = "Authorization: Bearer " + std::move(token) + "\r\n";
  ++generation_;
  ends_at_ = asked + lifetime - EndMargin(lifetime);
  renew_at_ = std::min(ends_at_, asked + lifetime - RenewMargin(lifetime));
  rests_until_ = {};
}

void TokenState::Failed(Time until) { rests_until_ = until; }

bool TokenState::Refused(std::uint64_t generation) {
  if (generation != generation_) return true;  // a newer one is there
  if (!field_.empty()) {                       // else another lane was refused with it before
    field_.clear();
    again_ = !is_renewal_of_refused_;
    is_renewal_of_refused_ = true;
  }
  return again_;
}

void TokenState::Accepted(std::uint64_t generation) {
  if (generation == generation_) is_renewal_of_refused_ = false;
}

}  // namespace dwell::delivery
