#include "daemon/delivery/outcome.h"

#include "schemas/base/check.h"

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

Sign SignOf(const std::vector<Verdict>& verdicts) {
  CHECK(!verdicts.empty());
  Sign sum;
  for (const Verdict& verdict : verdicts) {
    const Sign sign = SignOf(verdict);
    // A pause is for all; otherwise one that was served shows that the endpoint serves.
    if (sign.kind == Sign::Kind::kDown) return sign;
    if (sum.kind != Sign::Kind::kWell) sum = sign;
  }
  return sum;
}

}  // namespace dwell::delivery
