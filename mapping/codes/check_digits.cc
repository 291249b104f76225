#include "mapping/codes/check_digits.h"

#include <algorithm>
#include <cstddef>
#include <string>

#include "schemas/base/luhn.h"

namespace dwell::codes {
namespace {

bool AllDigits(std::string_view text) {
  return !text.empty() &&
         std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

}  // namespace

bool PassesVerhoeff(std::string_view digits) {
  static constexpr int kTimes[10][10] = {
      {0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, {1, 2, 3, 4, 0, 6, 7, 8, 9, 5},
      {2, 3, 4, 0, 1, 7, 8, 9, 5, 6}, {3, 4, 0, 1, 2, 8, 9, 5, 6, 7},
      {4, 0, 1, 2, 3, 9, 5, 6, 7, 8}, {5, 9, 8, 7, 6, 0, 4, 3, 2, 1},
      {6, 5, 9, 8, 7, 1, 0, 4, 3, 2}, {7, 6, 5, 9, 8, 2, 1, 0, 4, 3},
      {8, 7, 6, 5, 9, 3, 2, 1, 0, 4}, {9, 8, 7, 6, 5, 4, 3, 2, 1, 0}};
  static constexpr int kTurn[10] = {1, 5, 7, 6, 2, 8, 3, 0, 9, 4};
  constexpr std::size_t kTurnsMax = 8;  // the permutation comes back to itself after eight turns
  if (!AllDigits(digits)) return false;
  int check = 0;
  for (std::size_t i = 0; i < digits.size(); ++i) {
    int digit = digits[digits.size() - 1 - i] - '0';
    for (std::size_t turns = i % kTurnsMax; turns > 0; --turns) digit = kTurn[digit];
    check = kTimes[check][digit];
  }
  return check == 0;
}

bool IsSnomedConceptId(std::string_view code) {
  if (code.size() < 6 || code.size() > 18 || code.front() == '0') return false;
  const std::string_view partition = code.substr(code.size() - 3, 2);
  return (partition == "00" || partition == "10") && PassesVerhoeff(code);
}

bool IsLoincNumber(std::string_view code) {
  if (code.size() < 3 || code.size() > 9 || code[code.size() - 2] != '-') return false;
  const std::string digits = std::string(code.substr(0, code.size() - 2)) + code.back();
  return AllDigits(digits) && PassesLuhn(digits);
}

std::optional<std::string_view> WrongForm(std::string_view system, std::string_view code) {
  if (system == kSnomedCt) {
    const bool expression = code.find_first_of(":+|=<") != std::string_view::npos;
    if (!expression && !IsSnomedConceptId(code)) {
      return "the identifier of a SNOMED CT concept, with a right check digit";
    }
  } else if (system == kLoinc && !code.starts_with("LA") && !code.starts_with("LP")) {
    if (!IsLoincNumber(code)) return "a LOINC number with a right check digit";
  }
  return std::nullopt;
}

}  // namespace dwell::codes
