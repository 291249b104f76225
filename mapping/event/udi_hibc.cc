// HIBC supplier labels (ANSI/HIBC 2.6, Health Industry Supplier Labeling Standard): '+', primary
// data (labeler, product, unit of measure), '/', secondary data (dates, lot, serial number), more
// behind further '/', and a check character over everything.
#include <algorithm>
#include <array>
#include <chrono>

#include "mapping/event/udi_forms.h"

namespace dwell::event {
namespace {

constexpr std::string_view kAlphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";
constexpr std::size_t kValueMax = 18;  // characters of a lot or serial number

constexpr UdiFault kModel{"udi-unknown",
                          "a label of a device: \"++\" names a model (Basic UDI-DI), \"+/\" is a "
                          "label of the provider"};
constexpr UdiFault kUnknownField{"udi-unknown", "a data identifier of HIBC"};
constexpr UdiFault kLength{"udi-length", "the number of characters HIBC defines for the field"};
constexpr UdiFault kCharacter{"udi-character", "the characters HIBC allows in the field"};
constexpr UdiFault kCheck{"udi-check-digit", "the right check character (HIBC, modulo 43)"};
constexpr UdiFault kNoDay{"udi-date", "a day of the calendar in the form that the label announces"};

bool IsCapital(char c) { return c >= 'A' && c <= 'Z'; }
bool IsLetterOrDigit(char c) { return IsDigit(c) || IsCapital(c); }

/// The check character is a sum without weights: it does not see characters that changed places.
MaybeFault CheckCharacters(std::string_view text) {
  std::size_t sum = 0;
  for (const char c : text.substr(0, text.size() - 1)) {
    const std::size_t value = kAlphabet.find(c);
    if (value == std::string_view::npos) return kCharacter;
    sum += value;
  }
  if (kAlphabet.find(text.back()) == std::string_view::npos) return kCharacter;
  if (kAlphabet[sum % kAlphabet.size()] != text.back()) return kCheck;
  return std::nullopt;
}

/// Labeler (letter and three more), product (1 to 18), unit of measure (a digit).
MaybeFault ReadPrimary(std::string_view text, Udi* udi) {
  if (text.size() < 6 || text.size() > 23) return kLength;
  if (!std::ranges::all_of(text, IsLetterOrDigit) || !IsDigit(text.back())) return kCharacter;
  udi->device = text;
  return std::nullopt;
}

MaybeFault ReadLotOrSerial(std::string_view value, std::string* part) {
  if (value.empty()) return std::nullopt;
  if (value.size() > kValueMax) return kLength;
  return SetOnce(value, part);
}

/// Takes an expiry date off the front of `text`. `form` says what its digits mean, a letter each:
/// year, month, day, day of the year (J), hour.
MaybeFault TakeExpiry(std::string_view form, int year, std::string_view* text, Udi* udi) {
  if (text->size() < form.size()) return kLength;
  const std::string_view digits = text->substr(0, form.size());
  if (!AllDigits(digits)) return kNoDay;
  text->remove_prefix(form.size());
  const auto field = [form, digits](char letter) {
    const std::size_t from = form.find(letter);
    return from == std::string_view::npos ? std::string_view()
                                          : digits.substr(from, form.rfind(letter) + 1 - from);
  };
  const int full_year = FullYear(Number(field('Y')), year);
  std::optional<std::string> day;
  if (const auto ordinal = field('J'); !ordinal.empty()) {
    const std::chrono::sys_days new_year = std::chrono::year(full_year) / 1 / 1;
    const std::chrono::year_month_day date(new_year + std::chrono::days(Number(ordinal) - 1));
    if (date.year() != std::chrono::year(full_year)) return kNoDay;
    day = DayText(full_year, static_cast<int>(static_cast<unsigned>(date.month())),
                  static_cast<int>(static_cast<unsigned>(date.day())));
  } else {
    const auto in_month = field('D');
    if (!in_month.empty() && Number(in_month) == 0) return kNoDay;  // 00 is GS1's
    day = DayText(full_year, Number(field('M')), in_month.empty() ? 1 : Number(in_month));
    if (day && in_month.empty()) day->resize(7);
  }
  if (!day) return kNoDay;
  if (const auto hour = field('H'); !hour.empty()) {
    if (Number(hour) > 23) return kNoDay;
    udi->other.push_back({"expiry-hour", std::string(hour)});
  }
  return SetDateOnce(*day, &udi->expires);
}

/// What the digit after "$$" announces; without one of them four digits MMYY follow.
std::string_view ExpiryForm(std::string_view* text) {
  struct Form {
    char flag;
    std::string_view digits;
  };
  constexpr std::array kForms = {Form{'2', "MMDDYY"}, Form{'3', "YYMMDD"},  Form{'4', "YYMMDDHH"},
                                 Form{'5', "YYJJJ"},  Form{'6', "YYJJJHH"}, Form{'7', ""}};
  const auto found =
      text->empty() ? kForms.end() : std::ranges::find(kForms, text->front(), &Form::flag);
  if (found == kForms.end()) return "MMYY";
  text->remove_prefix(1);
  return found->digits;
}

/// "8" and two digits or "9" and five: how many are in the pack.
MaybeFault TakeQuantity(std::string_view* text, Udi* udi) {
  if (!text->starts_with('8') && !text->starts_with('9')) return std::nullopt;
  const std::size_t size = text->front() == '8' ? 2 : 5;
  text->remove_prefix(1);
  if (text->size() < size) return kLength;
  if (!AllDigits(text->substr(0, size))) return kCharacter;
  udi->other.push_back({"Q", std::string(text->substr(0, size))});
  text->remove_prefix(size);
  return std::nullopt;
}

/// After '$': a lot, or with '+' a serial number; after a second '$' quantity and expiry first.
MaybeFault ReadSecondary(std::string_view text, int year, Udi* udi) {
  const bool dated = text.starts_with('$');
  if (dated) text.remove_prefix(1);
  std::string* const part = text.starts_with('+') ? &udi->serial : &udi->lot;
  if (part == &udi->serial) text.remove_prefix(1);
  if (dated) {
    const std::size_t before = text.size();
    if (auto fault = TakeQuantity(&text, udi)) return fault;
    if (text.empty() && before > 0) return std::nullopt;  // the quantity alone
    const std::string_view form = ExpiryForm(&text);
    if (auto fault = form.empty() ? std::nullopt : TakeExpiry(form, year, &text, udi)) return fault;
  }
  return ReadLotOrSerial(text, part);
}

/// "14D" and "16D": expiry and production as YYYYMMDD.
MaybeFault ReadLongDay(std::string_view digits, std::string* part) {
  if (digits.size() != 8) return kLength;
  if (!AllDigits(digits) || digits.ends_with("00")) return kNoDay;
  const auto day = DayText(Number(digits.substr(0, 4)), Number(digits.substr(4, 2)),
                           Number(digits.substr(6, 2)));
  return day ? SetDateOnce(*day, part) : kNoDay;
}

/// One piece between slashes behind the primary data.
MaybeFault ReadPiece(std::string_view text, int year, Udi* udi) {
  if (text.starts_with('$')) return ReadSecondary(text.substr(1), year, udi);
  if (text.starts_with("14D")) return ReadLongDay(text.substr(3), &udi->expires);
  if (text.starts_with("16D")) return ReadLongDay(text.substr(3), &udi->produced);
  if (text.starts_with('S') && text.size() > 1)
    return ReadLotOrSerial(text.substr(1), &udi->serial);
  if (text.size() >= 5 && AllDigits(text.substr(0, 5))) {
    const auto fault = TakeExpiry("YYJJJ", year, &text, udi);
    return fault ? fault : ReadLotOrSerial(text, &udi->lot);
  }
  // Any other data identifier: up to three digits and a letter (ANSI MH10.8.2).
  const std::size_t letter = std::min(text.find_first_not_of("0123456789"), text.size());
  if (letter > 3 || letter + 1 >= text.size() || !IsCapital(text[letter])) return kUnknownField;
  udi->other.push_back(
      {std::string(text.substr(0, letter + 1)), std::string(text.substr(letter + 1))});
  return std::nullopt;
}

}  // namespace

MaybeFault ReadHibc(std::string_view text, int year, Udi* udi) {
  if (text.starts_with("++") || text.starts_with("+/")) return kModel;
  if (text.size() < 4) return kLength;
  if (auto fault = CheckCharacters(text)) return fault;
  std::string_view body = text.substr(1, text.size() - 2);
  if (IsCapital(body.front())) {
    const std::string_view primary = body.substr(0, body.find('/'));
    if (auto fault = ReadPrimary(primary, udi)) return fault;
    if (primary.size() == body.size()) return std::nullopt;
    body.remove_prefix(primary.size() + 1);
  } else {
    body.remove_suffix(1);  // links a symbol of secondary data to its primary's check character
  }
  while (true) {
    const std::size_t end = body.find('/');
    if (auto fault = ReadPiece(body.substr(0, end), year, udi)) return fault;
    if (end == std::string_view::npos) return std::nullopt;
    body.remove_prefix(end + 1);
  }
}

}  // namespace dwell::event
