// Luhn's check: one rule for health numbers and for codes alike.
#pragma once

#include <string_view>

namespace dwell {

/// Modulo 10 with every second digit doubled from the right, the check digit being the last one
/// (ISO/IEC 7812-1, annex B). `digits` holds decimal digits only.
inline bool PassesLuhn(std::string_view digits) {
  int sum = 0;
  bool twice = false;
  for (auto digit = digits.rbegin(); digit != digits.rend(); ++digit, twice = !twice) {
    const int value = (*digit - '0') * (twice ? 2 : 1);
    sum += value > 9 ? value - 9 : value;
  }
  return sum % 10 == 0;
}

}  // namespace dwell
