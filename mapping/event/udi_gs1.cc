// GS1 element strings: an application identifier and its value, one after the other. Sources: GS1
// General Specifications, sections 3.2 (identifiers), 7.8 (where a field ends), 7.12 (dates); FDA,
// "UDI formats by FDA-accredited issuing agency", version 1.3, 2017.
#include <algorithm>
#include <array>

#include "mapping/event/udi_forms.h"

namespace dwell::event {
namespace {

constexpr UdiFault kUnknownField{"udi-unknown", "an application identifier of GS1"};
constexpr UdiFault kLength{"udi-length", "the number of characters GS1 defines for the field"};
constexpr UdiFault kCharacter{"udi-character", "the characters GS1 allows in the field"};
constexpr UdiFault kCheckDigit{"udi-check-digit", "the right check digit (GS1, modulo 10)"};
constexpr UdiFault kNoDay{"udi-date", "YYMMDD, a day of the calendar or 00"};
constexpr UdiFault kSeparator{
    "udi-separator",
    "a separator (U+001D) after a field without fixed length: it may hold another field"};

enum class Content : std::uint8_t { kText, kDigits, kChecked, kDate };

struct Row {
  std::string_view prefix;  ///< first digits of the identifier
  std::size_t digits;       ///< of the whole identifier
  std::size_t min;          ///< characters of the value
  std::size_t max;
  bool ends_itself;  ///< of a length that every reader knows: no separator follows
  Content content;
  std::string Udi::*part = nullptr;
};

// Those a device label may carry. A row for "310" to "369" covers measures, whose last digit says
// where the decimal point stands.
constexpr std::array kRows = {
    Row{"01", 2, 14, 14, true, Content::kChecked, &Udi::device},
    Row{"10", 2, 1, 20, false, Content::kText, &Udi::lot},
    Row{"11", 2, 6, 6, true, Content::kDate, &Udi::produced},
    Row{"17", 2, 6, 6, true, Content::kDate, &Udi::expires},
    Row{"21", 2, 1, 20, false, Content::kText, &Udi::serial},
    Row{"00", 2, 18, 18, true, Content::kChecked},
    Row{"02", 2, 14, 14, true, Content::kChecked},
    Row{"12", 2, 6, 6, true, Content::kDate},
    Row{"13", 2, 6, 6, true, Content::kDate},
    Row{"15", 2, 6, 6, true, Content::kDate},
    Row{"16", 2, 6, 6, true, Content::kDate},
    Row{"20", 2, 2, 2, true, Content::kDigits},
    Row{"22", 2, 1, 20, false, Content::kText},
    Row{"235", 3, 1, 28, false, Content::kText},
    Row{"240", 3, 1, 30, false, Content::kText},
    Row{"241", 3, 1, 30, false, Content::kText},
    Row{"242", 3, 1, 6, false, Content::kDigits},
    Row{"243", 3, 1, 20, false, Content::kText},
    Row{"250", 3, 1, 30, false, Content::kText},
    Row{"251", 3, 1, 30, false, Content::kText},
    Row{"30", 2, 1, 8, false, Content::kDigits},
    Row{"31", 4, 6, 6, true, Content::kDigits},
    Row{"32", 4, 6, 6, true, Content::kDigits},
    Row{"33", 4, 6, 6, true, Content::kDigits},
    Row{"34", 4, 6, 6, true, Content::kDigits},
    Row{"35", 4, 6, 6, true, Content::kDigits},
    Row{"36", 4, 6, 6, true, Content::kDigits},
    Row{"37", 2, 1, 8, false, Content::kDigits},
    Row{"400", 3, 1, 30, false, Content::kText},
    Row{"41", 3, 13, 13, true, Content::kChecked},
    Row{"422", 3, 3, 3, false, Content::kDigits},
    Row{"7003", 4, 10, 10, false, Content::kDigits},
    Row{"710", 3, 1, 20, false, Content::kText},
    Row{"711", 3, 1, 20, false, Content::kText},
    Row{"712", 3, 1, 20, false, Content::kText},
    Row{"713", 3, 1, 20, false, Content::kText},
    Row{"714", 3, 1, 20, false, Content::kText},
    Row{"715", 3, 1, 20, false, Content::kText},
    Row{"8012", 4, 1, 20, false, Content::kText},
    Row{"90", 2, 1, 30, false, Content::kText},
    Row{"9", 2, 1, 90, false, Content::kText},  // 91 to 99, after 90
};

const Row* FindRow(std::string_view text) {
  for (const Row& row : kRows) {
    if (text.starts_with(row.prefix) && text.size() >= row.digits &&
        AllDigits(text.substr(0, row.digits))) {
      return &row;
    }
  }
  return nullptr;
}

/// The 82 characters of GS1 General Specifications, figure 7.11-1.
bool IsGs1Character(char c) {
  return c > ' ' && c < 0x7F && std::string_view("#$@[\\]^`{|}~").find(c) == std::string_view::npos;
}

MaybeFault CheckValue(const Row& row, std::string_view value) {
  if (value.size() < row.min || value.size() > row.max) return kLength;
  const bool legal =
      row.content == Content::kText ? std::ranges::all_of(value, IsGs1Character) : AllDigits(value);
  if (!legal) return kCharacter;
  if (row.content == Content::kChecked && !Gs1CheckDigitPasses(value)) return kCheckDigit;
  return std::nullopt;
}

MaybeFault Put(const Row& row, std::string_view name, std::string_view value, int year, Udi* udi) {
  if (const auto fault = CheckValue(row, value)) return fault;
  if (row.content == Content::kDate) {
    const auto day = ShortDay(value, year);
    if (!day) return kNoDay;
    if (row.part != nullptr) return SetOnce(*day, &(udi->*row.part));
  }
  if (row.part != nullptr) return SetOnce(value, &(udi->*row.part));
  const auto same = std::ranges::find(udi->other, name, &UdiPart::name);
  if (same != udi->other.end()) return SetOnce(value, &same->value);
  udi->other.push_back({std::string(name), std::string(value)});
  return std::nullopt;
}

/// Whether `text` can be read as fields that a device label carries and `udi` does not have yet.
bool LooksLikeFields(std::string_view text, int year, const Udi& udi) {
  const Row* row = FindRow(text);
  if (row == nullptr || row->part == nullptr || !(udi.*row->part).empty()) return false;
  const std::string_view value = text.substr(row->digits);
  if (!row->ends_itself) return !value.empty();
  if (row->content != Content::kDate || !ShortDay(value.substr(0, row->max), year)) return false;
  return value.size() == row->max || LooksLikeFields(value.substr(row->max), year, udi);
}

/// Whether the last field may have swallowed others because the separator before them was lost.
bool MayHoldAnother(const Row& row, std::string_view value, int year, const Udi& before) {
  Udi udi = before;
  if (row.part != nullptr) udi.*row.part = value;  // a field is not repeated within itself
  for (std::size_t at = 1; at < value.size(); ++at) {
    if (LooksLikeFields(value.substr(at), year, udi)) return true;
  }
  return false;
}

/// Where the identifier at the start of `text` ends: "(01)", "{01}"; 0 when there is none.
std::size_t PrintedIdentifierSize(std::string_view text, char open) {
  const char close = open == '(' ? ')' : '}';
  if (!text.starts_with(open)) return 0;
  const std::size_t end = text.find(close);
  const bool sized = end != std::string_view::npos && end >= 3 && end <= 5;
  return sized && AllDigits(text.substr(1, end - 1)) ? end + 1 : 0;
}

}  // namespace

MaybeFault ReadGs1Scan(std::string_view text, int year, std::string_view known_lot, Udi* udi) {
  // A scanner that passes separators passes them all.
  const bool separated = text.find(kGroupSeparator) != std::string_view::npos;
  if (text.empty()) return kLength;
  while (!text.empty()) {
    if (text.front() == kGroupSeparator) {
      text.remove_prefix(1);
      continue;
    }
    const Row* row = FindRow(text);
    if (row == nullptr) return kUnknownField;
    const std::string_view name = text.substr(0, row->digits);
    text.remove_prefix(row->digits);
    std::string_view value = text.substr(0, text.find(kGroupSeparator));
    if (row->ends_itself) value = value.substr(0, row->max);
    const bool said = row->part == &Udi::lot && value == known_lot;
    if (!separated && !row->ends_itself && !said && MayHoldAnother(*row, value, year, *udi)) {
      return kSeparator;
    }
    if (auto fault = Put(*row, name, value, year, udi)) return fault;
    text.remove_prefix(value.size());
  }
  return std::nullopt;
}

MaybeFault ReadGs1Print(std::string_view text, int year, Udi* udi) {
  const char open = text.front();
  while (!text.empty()) {
    const std::size_t size = PrintedIdentifierSize(text, open);
    if (size == 0) return kUnknownField;
    const std::string_view name = text.substr(1, size - 2);
    const Row* row = FindRow(name);
    if (row == nullptr || row->digits != name.size()) return kUnknownField;
    text.remove_prefix(size);
    std::size_t end = text.find(open);
    while (end != std::string_view::npos && PrintedIdentifierSize(text.substr(end), open) == 0) {
      end = text.find(open, end + 1);
    }
    const std::string_view value = text.substr(0, end);
    if (auto fault = Put(*row, name, value, year, udi)) return fault;
    text.remove_prefix(value.size());
  }
  return std::nullopt;
}

}  // namespace dwell::event
