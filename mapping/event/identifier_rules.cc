#include "mapping/event/identifier_rules.h"

#include <algorithm>
#include <array>
#include <cstdint>

#include "schemas/base/luhn.h"

namespace dwell::event {
namespace {

bool IsDigit(char c) { return c >= '0' && c <= '9'; }

bool AllDigits(std::string_view text, std::size_t length) {
  return text.size() == length && std::all_of(text.begin(), text.end(), IsDigit);
}

int Number(std::string_view digits) {
  int number = 0;
  for (char c : digits) number = number * 10 + (c - '0');
  return number;
}

template <std::size_t N>
int WeightedSum(std::string_view digits, const std::array<int, N>& weights) {
  int sum = 0;
  for (std::size_t i = 0; i < N; ++i) sum += weights[i] * (digits[i] - '0');
  return sum;
}

/// The check digit of a modulo 11 scheme, 11 counting as 0; 10 is never issued and fits no digit.
int Modulo11Check(int sum) { return (11 - sum % 11) % 11; }

/// Ten digits, weights 10 to 2 on the first nine.
bool TenDigitsModulo11(std::string_view value) {
  constexpr std::array kWeights = {10, 9, 8, 7, 6, 5, 4, 3, 2};
  return AllDigits(value, 10) && Modulo11Check(WeightedSum(value, kWeights)) == value[9] - '0';
}

/// A day that exists in some century; year 00 may be a leap year.
bool DayMonthYear(int day, int month, int year) {
  constexpr std::array kDays = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  if (month < 1 || month > 12 || day < 1) return false;
  const int leap = month == 2 && year % 4 == 0 ? 1 : 0;
  return day <= kDays.at(static_cast<std::size_t>(month - 1)) + leap;
}

/// A to Z without I and O count 1 to 24; 0 for anything else.
int NhiLetter(char c) {
  constexpr std::string_view kLetters = "ABCDEFGHJKLMNPQRSTUVWXYZ";
  const auto at = kLetters.find(c);
  return at == std::string_view::npos ? 0 : static_cast<int>(at) + 1;
}

}  // namespace

std::string WithoutNhsSeparators(std::string_view value) {
  if (value.size() != 12) return std::string(value);
  const auto separator = [](char c) { return c == ' ' || c == '-'; };
  if (!separator(value[3]) || !separator(value[7])) return {};
  return std::string(value.substr(0, 3)).append(value.substr(4, 3)).append(value.substr(8));
}

bool IsNhsNumber(std::string_view value) { return TenDigitsModulo11(WithoutNhsSeparators(value)); }

bool IsHealthAndCareNumber(std::string_view value) { return TenDigitsModulo11(value); }

bool IsChiNumber(std::string_view value) {
  return TenDigitsModulo11(value) &&
         DayMonthYear(Number(value.substr(0, 2)), Number(value.substr(2, 2)),
                      Number(value.substr(4, 2)));
}

bool IsAustralianIhi(std::string_view value) {
  return AllDigits(value, 16) && value.starts_with("800360") && PassesLuhn(value);
}

bool IsNhiNumber(std::string_view value) {
  if (value.size() != 7) return false;
  int sum = 0;
  for (std::size_t i = 0; i < 6; ++i) {
    const bool letter = i < 3 || (i == 5 && !IsDigit(value[5]));
    const int number = letter ? NhiLetter(value[i]) : value[i] - '0';
    if (letter ? number == 0 : !IsDigit(value[i])) return false;
    sum += number * (7 - static_cast<int>(i));
  }
  if (IsDigit(value[5])) {  // the older form: remainder 0 is never issued, 10 counts as 0
    const int remainder = sum % 11;
    return remainder != 0 && IsDigit(value[6]) && (11 - remainder) % 10 == value[6] - '0';
  }
  return NhiLetter(value[6]) == 23 - sum % 23;
}

bool IsDutchBsn(std::string_view value) {
  constexpr std::array kWeights = {9, 8, 7, 6, 5, 4, 3, 2, -1};
  return AllDigits(value, 9) && value != "000000000" && WeightedSum(value, kWeights) % 11 == 0;
}

bool IsNorwegianNumber(std::string_view value) {
  constexpr std::array kFirst = {3, 7, 6, 1, 8, 9, 4, 5, 2};
  constexpr std::array kSecond = {5, 4, 3, 2, 7, 6, 5, 4, 3, 2};
  return AllDigits(value, 11) && Modulo11Check(WeightedSum(value, kFirst)) == value[9] - '0' &&
         Modulo11Check(WeightedSum(value, kSecond)) == value[10] - '0';
}

bool IsSwedishNumber(std::string_view value) {
  std::string digits(value);
  if (digits.size() > 5) {
    const char separator = digits[digits.size() - 5];
    if (separator == '-' || separator == '+') digits.erase(digits.size() - 5, 1);
  }
  if (!AllDigits(digits, 10) && !AllDigits(digits, 12)) return false;
  return PassesLuhn(std::string_view(digits).substr(digits.size() - 10));
}

bool IsDanishCpr(std::string_view value) {
  constexpr std::array kWeights = {4, 3, 2, 7, 6, 5, 4, 3, 2, 1};
  std::string digits(value);
  if (digits.size() == 11 && digits[6] == '-') digits.erase(6, 1);
  return AllDigits(digits, 10) && WeightedSum(digits, kWeights) % 11 == 0;
}

bool IsFrenchNir(std::string_view value) {
  std::string digits(value);
  if (digits.size() == 15 && digits[5] == '2' && (digits[6] == 'A' || digits[6] == 'B')) {
    digits.replace(5, 2, digits[6] == 'A' ? "19" : "18");
  }
  if (!AllDigits(digits, 15)) return false;
  const std::string_view text = digits;
  std::int64_t number = 0;
  for (char c : text.substr(0, 13)) number = number * 10 + (c - '0');
  return Number(text.substr(13)) == 97 - number % 97;
}

bool IsUsSsn(std::string_view value) {
  std::string digits(value);
  if (digits.size() == 11 && digits[3] == '-' && digits[6] == '-') {
    digits.erase(6, 1);
    digits.erase(3, 1);
  }
  if (!AllDigits(digits, 9) || digits == "078051120") return false;
  const std::string_view text = digits;
  const int area = Number(text.substr(0, 3));
  return area != 0 && area != 666 && area < 900 && Number(text.substr(3, 2)) != 0 &&
         Number(text.substr(5)) != 0;
}

}  // namespace dwell::event
