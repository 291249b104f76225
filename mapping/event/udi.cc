#include "mapping/event/udi.h"

#include <algorithm>
#include <array>
#include <chrono>

#include "mapping/event/udi_forms.h"

namespace dwell::event {
namespace {

constexpr UdiFault kDisagrees{"udi-disagrees", "each part once, or the same each time"};

bool IsAsciiLetter(char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); }

/// "]", a letter for the kind of symbol and a modifier (ISO/IEC 15424); empty without one.
std::string_view SymbologyIdentifier(std::string_view text) {
  const bool has = text.size() >= 3 && text[0] == ']' && IsAsciiLetter(text[1]) && text[2] > ' ';
  return has ? text.substr(0, 3) : std::string_view();
}

// Symbols that say they carry GS1 element strings: GS1-128, DataBar, DataMatrix, QR, DotCode (GS1
// General Specifications, section 5, symbology identifiers).
constexpr std::array<std::string_view, 5> kGs1Symbols = {"]C1", "]e0", "]d2", "]Q3", "]J1"};

/// "(01)" or "{01}": an opening sign, digits, a closing one.
bool LooksPrinted(std::string_view text) {
  return text.size() > 4 && (text[0] == '(' || text[0] == '{') && AllDigits(text.substr(1, 2));
}

/// Without symbology identifier a scan shows that it is GS1 by its separators or by a GTIN in
/// front. Digits alone, or a word, may be anything.
bool LooksScanned(std::string_view text) {
  if (text.size() < 2) return false;
  if (text.front() == kGroupSeparator) return AllDigits(text.substr(1, 2));
  if (!AllDigits(text.substr(0, 2))) return false;
  return text.find(kGroupSeparator) != std::string_view::npos ||
         (text.starts_with("01") && text.size() >= 16 && AllDigits(text.substr(2, 14)));
}

/// "*+A123BJC5D6E71G*": the text below an HIBC symbol stands between asterisks, and a space as
/// check character is printed as '_' (HIBCC, formatter of primary data, terms used).
std::string WithoutAsterisks(std::string_view text) {
  if (text.size() < 2 || text.front() != '*' || text.back() != '*') return std::string(text);
  std::string inside(text.substr(1, text.size() - 2));
  if (inside.ends_with('_')) inside.back() = ' ';
  return inside;
}

}  // namespace

bool IsDigit(char c) { return c >= '0' && c <= '9'; }

bool AllDigits(std::string_view text) { return std::ranges::all_of(text, IsDigit); }

int Number(std::string_view digits) {
  int number = 0;
  for (const char c : digits) number = number * 10 + (c - '0');
  return number;
}

int FullYear(int two_digits, int year) {
  const int difference = two_digits - year % 100;
  const int full = year + difference;
  if (difference >= 51) return full - 100;
  return difference <= -50 ? full + 100 : full;
}

std::optional<std::string> DayText(int year, int month, int day) {
  using std::chrono::year_month_day;
  if (month < 1 || month > 12) return std::nullopt;
  const auto in_month = std::chrono::year(year) / month;
  const year_month_day date = day == 0 ? year_month_day(in_month / std::chrono::last)
                                       : in_month / std::chrono::day(static_cast<unsigned>(day));
  if (!date.ok()) return std::nullopt;
  const auto two = [](unsigned number) {
    return std::string{static_cast<char>('0' + number / 10), static_cast<char>('0' + number % 10)};
  };
  return std::to_string(year) + "-" + two(static_cast<unsigned>(date.month())) + "-" +
         two(static_cast<unsigned>(date.day()));
}

std::optional<std::string> ShortDay(std::string_view digits, int year) {
  if (digits.size() != 6 || !AllDigits(digits)) return std::nullopt;
  return DayText(FullYear(Number(digits.substr(0, 2)), year), Number(digits.substr(2, 2)),
                 Number(digits.substr(4, 2)));
}

MaybeFault SetOnce(std::string_view value, std::string* part) {
  if (!part->empty() && *part != value) return kDisagrees;
  *part = value;
  return std::nullopt;
}

MaybeFault SetDateOnce(std::string_view value, std::string* part) {
  if (!part->empty() && !DatesAgree(*part, value)) return kDisagrees;
  if (value.size() > part->size()) *part = value;
  return std::nullopt;
}

bool DatesAgree(std::string_view one, std::string_view other) {
  const std::size_t shared = std::min(one.size(), other.size());
  return one.substr(0, shared) == other.substr(0, shared);
}

bool Gs1CheckDigitPasses(std::string_view digits) {
  constexpr std::array<std::size_t, 5> kSizes = {8, 12, 13, 14, 18};
  if (std::ranges::find(kSizes, digits.size()) == kSizes.end() || !AllDigits(digits)) return false;
  int sum = 0;
  int weight = 1;  // of the check digit itself: the sum of all is then a multiple of 10
  for (auto digit = digits.rbegin(); digit != digits.rend(); ++digit, weight = 4 - weight) {
    sum += (*digit - '0') * weight;
  }
  return sum % 10 == 0;
}

bool IsScannerForm(std::string_view scanned) {
  return !SymbologyIdentifier(scanned).empty() ||
         std::ranges::any_of(scanned, [](char c) { return static_cast<unsigned char>(c) < 0x20; });
}

Result<Udi, UdiFault> ParseUdi(std::string_view scanned, int year, std::string_view known_lot) {
  const std::string_view symbol = SymbologyIdentifier(scanned);
  const std::string_view text = scanned.substr(symbol.size());
  Udi udi;
  MaybeFault fault;
  if (text.starts_with('+') || text.starts_with("*+")) {
    udi.issuer = UdiIssuer::kHibcc;
    fault = ReadHibc(WithoutAsterisks(text), year, &udi);
  } else if (LooksPrinted(text)) {
    udi.issuer = UdiIssuer::kGs1;
    fault = ReadGs1Print(text, year, &udi);
  } else if (std::ranges::find(kGs1Symbols, symbol) != kGs1Symbols.end() || LooksScanned(text)) {
    udi.issuer = UdiIssuer::kGs1;
    fault = ReadGs1Scan(text, year, known_lot, &udi);
  }
  if (fault) return *fault;
  return udi;
}

}  // namespace dwell::event
