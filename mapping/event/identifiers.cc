#include "mapping/event/identifiers.h"

#include <algorithm>
#include <array>

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

/// Modulo 10 with every second digit doubled, from the right (ISO/IEC 7812-1, annex B).
bool Luhn(std::string_view digits) {
  int sum = 0;
  bool twice = false;
  for (auto digit = digits.rbegin(); digit != digits.rend(); ++digit, twice = !twice) {
    const int value = (*digit - '0') * (twice ? 2 : 1);
    sum += value > 9 ? value - 9 : value;
  }
  return sum % 10 == 0;
}

/// Ten digits, weights 10 to 2 on the first nine.
bool TenDigitsModulo11(std::string_view value) {
  constexpr std::array kWeights = {10, 9, 8, 7, 6, 5, 4, 3, 2};
  return AllDigits(value, 10) && Modulo11Check(WeightedSum(value, kWeights)) == value[9] - '0';
}

/// Without the separators of "999 000 0018" or "999-000-0018"; empty when they stand elsewhere.
std::string WithoutNhsSeparators(std::string_view value) {
  if (value.size() != 12) return std::string(value);
  const auto separator = [](char c) { return c == ' ' || c == '-'; };
  if (!separator(value[3]) || !separator(value[7])) return {};
  return std::string(value.substr(0, 3)).append(value.substr(4, 3)).append(value.substr(8));
}

bool NhsNumber(std::string_view value) { return TenDigitsModulo11(WithoutNhsSeparators(value)); }

/// A day that exists in some century; year 00 may be a leap year.
bool DayMonthYear(int day, int month, int year) {
  constexpr std::array kDays = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  if (month < 1 || month > 12 || day < 1) return false;
  const int leap = month == 2 && year % 4 == 0 ? 1 : 0;
  return day <= kDays.at(static_cast<std::size_t>(month - 1)) + leap;
}

bool ChiNumber(std::string_view value) {
  return TenDigitsModulo11(value) &&
         DayMonthYear(Number(value.substr(0, 2)), Number(value.substr(2, 2)),
                      Number(value.substr(4, 2)));
}

bool AustralianIhi(std::string_view value) {
  return AllDigits(value, 16) && value.starts_with("800360") && Luhn(value);
}

/// A to Z without I and O count 1 to 24; 0 for anything else.
int NhiLetter(char c) {
  constexpr std::string_view kLetters = "ABCDEFGHJKLMNPQRSTUVWXYZ";
  const auto at = kLetters.find(c);
  return at == std::string_view::npos ? 0 : static_cast<int>(at) + 1;
}

/// LLLNNNC (modulo 11) or LLLNNLX (modulo 23), weights 7 to 2.
bool NhiNumber(std::string_view value) {
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

bool DutchBsn(std::string_view value) {
  constexpr std::array kWeights = {9, 8, 7, 6, 5, 4, 3, 2, -1};
  return AllDigits(value, 9) && value != "000000000" && WeightedSum(value, kWeights) % 11 == 0;
}

bool NorwegianNumber(std::string_view value) {
  constexpr std::array kFirst = {3, 7, 6, 1, 8, 9, 4, 5, 2};
  constexpr std::array kSecond = {5, 4, 3, 2, 7, 6, 5, 4, 3, 2};
  return AllDigits(value, 11) && Modulo11Check(WeightedSum(value, kFirst)) == value[9] - '0' &&
         Modulo11Check(WeightedSum(value, kSecond)) == value[10] - '0';
}

/// [YY]YYMMDD[-+]NNNC; the century does not take part in the check.
bool SwedishNumber(std::string_view value) {
  std::string digits(value);
  if (digits.size() > 5) {
    const char separator = digits[digits.size() - 5];
    if (separator == '-' || separator == '+') digits.erase(digits.size() - 5, 1);
  }
  if (!AllDigits(digits, 10) && !AllDigits(digits, 12)) return false;
  return Luhn(std::string_view(digits).substr(digits.size() - 10));
}

bool DanishCpr(std::string_view value) {
  constexpr std::array kWeights = {4, 3, 2, 7, 6, 5, 4, 3, 2, 1};
  std::string digits(value);
  if (digits.size() == 11 && digits[6] == '-') digits.erase(6, 1);
  return AllDigits(digits, 10) && WeightedSum(digits, kWeights) % 11 == 0;
}

struct System {
  std::string_view uri;
  bool (*passes)(std::string_view value);
  Verdict otherwise;
};

constexpr std::string_view kNhsNumber = "https://fhir.nhs.uk/Id/nhs-number";

constexpr std::array kSystems = {
    // NHS Data Model and Dictionary, NHS NUMBER.
    System{kNhsNumber, NhsNumber, Verdict::kFails},
    // CHI number, Scotland: NHS Data Dictionary; documentation of the R package phsmethods.
    System{"urn:oid:2.16.840.1.113883.2.1.3.2.4.16.53", ChiNumber, Verdict::kFails},
    // Health and Care number, Northern Ireland: same rule as the NHS number. Two systems are in
    // use,
    // the second from memory.
    System{"https://fhir.nhs.uk/Id/hsc-number", TenDigitsModulo11, Verdict::kFails},
    System{"https://fhir.hscni.net/Id/hcn", TenDigitsModulo11, Verdict::kFails},
    // Individual Healthcare Identifier, Australia: HL7 AU Base, invariants inv-ihi-value-0 to -2.
    System{"http://ns.electronichealth.net.au/id/hi/ihi/1.0", AustralianIhi, Verdict::kFails},
    System{"urn:oid:1.2.36.1.2001.1003.0", AustralianIhi, Verdict::kFails},
    // National Health Index, New Zealand: HISO 10046, both forms.
    System{"https://standards.digital.health.nz/ns/nhi-id", NhiNumber, Verdict::kFails},
    System{"urn:oid:2.16.840.1.113883.2.18.2", NhiNumber, Verdict::kFails},
    // Burgerservicenummer, Netherlands; the system's address from memory.
    System{"http://fhir.nl/fhir/NamingSystem/bsn", DutchBsn, Verdict::kFails},
    // Norway: national number and D-number.
    System{"urn:oid:2.16.578.1.12.4.1.4.1", NorwegianNumber, Verdict::kFails},
    System{"urn:oid:2.16.578.1.12.4.1.4.2", NorwegianNumber, Verdict::kFails},
    // Personnummer, Sweden.
    System{"urn:oid:1.2.752.129.2.1.3.1", SwedishNumber, Verdict::kFails},
    System{"http://electronichealth.se/identifier/personnummer", SwedishNumber, Verdict::kFails},
    // CPR, Denmark: since 2007 numbers without a right check digit are issued.
    System{"urn:oid:1.2.208.176.1.2", DanishCpr, Verdict::kDoubtful},
};

}  // namespace

Verdict JudgeIdentifier(std::string_view system, std::string_view value) {
  for (const System& row : kSystems) {
    if (row.uri == system) return row.passes(value) ? Verdict::kPasses : row.otherwise;
  }
  return Verdict::kUnknownSystem;
}

std::string NormalIdentifier(std::string_view system, std::string_view value) {
  return system == kNhsNumber ? WithoutNhsSeparators(value) : std::string(value);
}

std::optional<Problem> CheckIdentifier(std::string_view system, std::string_view value,
                                       std::string_view pointer) {
  if (JudgeIdentifier(system, value) != Verdict::kFails) return std::nullopt;
  return Problem{std::string(pointer), "check-digit",
                 "a number with the right form and check digit for its system"};
}

}  // namespace dwell::event
