#include "daemon/delivery/outcome.h"

namespace dwell::delivery {

Sign SignOf(const Verdict& verdict) {
  Sign sign;
  if (verdict.pauses) {
    sign.kind = Sign::Kind::kDown;
    sign.asked = verdict.retry_after;
  } else {
    const bool is_again = verdict.course == Course::kAgain;
    sign.kind = is_again ? Sign::Kind::kStrained : Sign::Kind::kWell;
  }
  return sign;
}

}  // namespace dwell::delivery
