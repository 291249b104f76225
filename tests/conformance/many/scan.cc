#include "tests/conformance/many/scan.h"

#include <array>
#include <cstdio>

namespace dwell::many {
namespace {

constexpr char kSeparator = '\x1D';

std::string Digits(Dice* dice, std::size_t count) {
  std::string digits;
  while (digits.size() < count) digits += static_cast<char>('0' + dice->Below(10));
  return digits;
}

std::string Two(std::int64_t number) {
  std::string text = std::to_string(number % 100);
  return text.size() < 2 ? "0" + text : text;
}

struct Day {
  std::int64_t year, month, day;
  std::string Text() const { return std::to_string(year) + "-" + Two(month) + "-" + Two(day); }
  std::string Month() const { return std::to_string(year) + "-" + Two(month); }
  std::string Short() const { return Two(year) + Two(month) + Two(day); }
};

Day AnyDay(Dice* dice) {
  return {dice->Between(2027, 2031), dice->Between(1, 12), dice->Between(1, 28)};
}

/// GTIN of 14 digits. The prefix 0950600 is GS1's for examples and test data: GS1 General
/// Specifications use GTINs that begin with it in their figures.
std::string Gtin(Dice* dice) {
  const std::string digits = "0950600" + Digits(dice, 6);
  return digits + Gs1Check(digits);
}

Scan Gs1(Dice* dice, bool printed) {
  const Day expires = AnyDay(dice);
  Scan scan;
  scan.lot = "L" + Digits(dice, 5);
  scan.expiry = expires.Text();
  const std::string gtin = Gtin(dice);
  const std::string serial = dice->Chance(50) ? "S/" + Digits(dice, 6) : "";
  const std::string made = dice->Chance(50) ? Two(26) + Two(expires.month) + "01" : "";
  if (printed) {
    scan.text = "(01)" + gtin + (made.empty() ? "" : "(11)" + made) + "(17)" + expires.Short() +
                "(10)" + scan.lot + (serial.empty() ? "" : "(21)" + serial);
    return scan;
  }
  constexpr std::array<const char*, 3> kSymbols = {"]d2", "]C1", ""};
  scan.text = dice->Pick(kSymbols) + ("01" + gtin) + (made.empty() ? "" : "11" + made) + "17" +
              expires.Short() + "10" + scan.lot;
  if (!serial.empty()) scan.text += kSeparator + ("21" + serial);
  if (serial.empty()) scan.text += kSeparator;  // says where the lot ends
  return scan;
}

Scan Hibc(Dice* dice) {
  const Day expires = AnyDay(dice);
  Scan scan;
  const std::string primary = "+A" + Digits(dice, 3) + "PVC" + Digits(dice, 3) + "1";
  std::string text = primary;
  switch (dice->Below(4)) {
    case 0:  // primary data alone
      break;
    case 1:
      scan.lot = "H" + Digits(dice, 4);
      scan.expiry = expires.Text();
      text += "/$$3" + expires.Short() + scan.lot;
      break;
    case 2:  // a month without a day
      scan.lot = "H" + Digits(dice, 4);
      scan.expiry = expires.Month();
      text += "/$$" + Two(expires.month) + Two(expires.year) + scan.lot;
      break;
    default:
      scan.lot = "Q" + Digits(dice, 3);
      text += "/$" + scan.lot;
      break;
  }
  scan.text = text + HibcCheck(text);
  if (dice->Chance(30)) {
    if (scan.text.back() == ' ') scan.text.back() = '_';
    scan.text = "*" + scan.text + "*";
  }
  return scan;
}

}  // namespace

char Gs1Check(const std::string& digits) {
  int sum = 0;
  int weight = 3;
  for (auto digit = digits.rbegin(); digit != digits.rend(); ++digit, weight = 4 - weight) {
    sum += weight * (*digit - '0');
  }
  return static_cast<char>('0' + (10 - sum % 10) % 10);
}

char HibcCheck(const std::string& text) {
  constexpr std::string_view kAlphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";
  std::size_t sum = 0;
  for (const char c : text) sum += kAlphabet.find(c);
  return kAlphabet[sum % kAlphabet.size()];
}

Scan MakeScan(Dice* dice) {
  switch (dice->Below(5)) {
    case 0:
    case 1:
      return Gs1(dice, false);
    case 2:
      return Gs1(dice, true);
    case 3:
      return Hibc(dice);
    default:
      return {"LABEL <" + Digits(dice, 8) + ">", {}, {}};
  }
}

}  // namespace dwell::many
