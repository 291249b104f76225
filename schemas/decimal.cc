#include "schemas/decimal.h"

#include <algorithm>
#include <charconv>
#include <cstdint>

namespace dwell::schemas {
namespace {

constexpr std::int64_t kExponentMax = 1'000'000'000;
/// So many digits always fit a 64-bit integer.
constexpr std::size_t kSmallBytesMax = 18;

/// sign * 0.DIGITS * 10^exponent, where DIGITS has no leading and no trailing zero; sign 0 is zero.
struct Scientific {
  int sign = 0;
  std::string digits;
  std::int64_t exponent = 0;
};

std::int64_t ReadExponent(std::string_view text) {
  const bool negative = text.starts_with('-');
  if (negative || text.starts_with('+')) text.remove_prefix(1);
  std::int64_t exponent = 0;
  for (char c : text) exponent = std::min(exponent * 10 + (c - '0'), kExponentMax);
  return negative ? -exponent : exponent;
}

Scientific Read(std::string_view number) {
  Scientific result;
  const bool negative = number.starts_with('-');
  if (negative) number.remove_prefix(1);
  const std::size_t e = std::min(number.find_first_of("eE"), number.size());
  const std::string_view mantissa = number.substr(0, e);
  const std::size_t point = std::min(mantissa.find('.'), mantissa.size());
  result.digits = mantissa.substr(0, point);
  if (point < mantissa.size()) result.digits += mantissa.substr(point + 1);
  const std::size_t zeros = std::min(result.digits.find_first_not_of('0'), result.digits.size());
  result.digits.erase(0, zeros);
  result.digits.erase(result.digits.find_last_not_of('0') + 1);
  if (result.digits.empty()) return result;
  result.sign = negative ? -1 : 1;
  result.exponent = static_cast<std::int64_t>(point) - static_cast<std::int64_t>(zeros);
  if (e < number.size()) result.exponent += ReadExponent(number.substr(e + 1));
  return result;
}

bool ReadSmall(std::string_view number, std::int64_t* value) {
  if (number.size() > kSmallBytesMax) return false;
  const char* end = number.data() + number.size();
  const auto [stop, error] = std::from_chars(number.data(), end, *value);
  return error == std::errc() && stop == end;
}

}  // namespace

std::strong_ordering CompareDecimals(std::string_view left, std::string_view right) {
  std::int64_t small_left = 0;
  std::int64_t small_right = 0;
  if (ReadSmall(left, &small_left) && ReadSmall(right, &small_right)) {
    return small_left <=> small_right;
  }
  const Scientific a = Read(left);
  const Scientific b = Read(right);
  if (a.sign != b.sign) return a.sign <=> b.sign;
  // Of two negative numbers the one with the smaller size is the greater.
  const Scientific& first = a.sign < 0 ? b : a;
  const Scientific& second = a.sign < 0 ? a : b;
  if (first.exponent != second.exponent) return first.exponent <=> second.exponent;
  return first.digits <=> second.digits;
}

bool IsIntegerText(std::string_view number) {
  return number.find_first_of(".eE") == std::string_view::npos;
}

std::string CanonicalDecimal(std::string_view number) {
  const Scientific value = Read(number);
  if (value.sign == 0) return "0";
  return (value.sign < 0 ? "-0." : "0.") + value.digits + "e" + std::to_string(value.exponent);
}

}  // namespace dwell::schemas
