#include "mapping/event/moment.h"

#include <charconv>

namespace dwell {
namespace {

constexpr int kOffsetMinutesMax = 14 * 60;  // the largest in use, and the largest FHIR accepts

/// Reads `count` digits at `at`, or -1.
int Digits(std::string_view text, std::size_t at, std::size_t count) {
  if (at + count > text.size()) return -1;
  int number = 0;
  for (std::size_t i = at; i < at + count; ++i) {
    if (text[i] < '0' || text[i] > '9') return -1;
    number = number * 10 + (text[i] - '0');
  }
  return number;
}

struct Reading {
  int year, month, day, hour, minute, second, milliseconds;
  int offset_min;
  std::size_t offset_at;  ///< where the offset begins in the text
};

/// Up to three digits after the point count; `at` moves behind the last digit.
int Milliseconds(std::string_view text, std::size_t* at) {
  int milliseconds = 0;
  int weight = 100;
  while (*at < text.size() && text[*at] >= '0' && text[*at] <= '9') {
    milliseconds += (text[*at] - '0') * weight;
    weight /= 10;
    ++*at;
  }
  return milliseconds;
}

/// Minutes east of Greenwich of "Z" or "+hh:mm" at the very end of `text`; empty when it is
/// neither.
std::optional<int> Offset(std::string_view text, std::size_t at) {
  if (text.substr(at) == "Z") return 0;
  if (text.size() != at + 6 || (text[at] != '+' && text[at] != '-') || text[at + 3] != ':') {
    return std::nullopt;
  }
  const int hours = Digits(text, at + 1, 2);
  const int minutes = Digits(text, at + 4, 2);
  if (hours < 0 || minutes < 0 || minutes > 59) return std::nullopt;
  const int total = hours * 60 + minutes;
  if (total > kOffsetMinutesMax) return std::nullopt;
  return text[at] == '-' ? -total : total;
}

std::optional<Reading> Read(std::string_view text) {
  // "yyyy-mm-ddThh:mm:ss" and at least "Z".
  if (text.size() < 20 || text[4] != '-' || text[7] != '-' || text[10] != 'T' || text[13] != ':' ||
      text[16] != ':') {
    return std::nullopt;
  }
  Reading r{};
  r.year = Digits(text, 0, 4);
  r.month = Digits(text, 5, 2);
  r.day = Digits(text, 8, 2);
  r.hour = Digits(text, 11, 2);
  r.minute = Digits(text, 14, 2);
  r.second = Digits(text, 17, 2);
  if (r.year < 1 || r.month < 1 || r.day < 1 || r.hour < 0 || r.hour > 23 || r.minute < 0 ||
      r.minute > 59 || r.second < 0 || r.second > 60) {
    return std::nullopt;
  }
  r.offset_at = 19;
  if (text[19] == '.') {
    ++r.offset_at;
    r.milliseconds = Milliseconds(text, &r.offset_at);
    if (r.offset_at == 20) return std::nullopt;
  }
  const auto offset = Offset(text, r.offset_at);
  if (!offset) return std::nullopt;
  r.offset_min = *offset;
  return r;
}

void AppendPadded(std::string* out, int number, int width) {
  char digits[12];
  const auto end = std::to_chars(digits, digits + sizeof digits, number).ptr;
  for (auto missing = width - (end - digits); missing > 0; --missing) out->push_back('0');
  out->append(digits, end);
}

/// "2026-03-27T09:00:00" or with ".250" behind, without any offset.
std::string WallText(Instant instant) {
  const auto day = std::chrono::floor<std::chrono::days>(instant);
  const std::chrono::year_month_day date(day);
  const std::chrono::hh_mm_ss time(instant - day);
  std::string out;
  out.reserve(32);
  AppendPadded(&out, static_cast<int>(date.year()), 4);
  out.push_back('-');
  AppendPadded(&out, static_cast<int>(static_cast<unsigned>(date.month())), 2);
  out.push_back('-');
  AppendPadded(&out, static_cast<int>(static_cast<unsigned>(date.day())), 2);
  out.push_back('T');
  AppendPadded(&out, static_cast<int>(time.hours().count()), 2);
  out.push_back(':');
  AppendPadded(&out, static_cast<int>(time.minutes().count()), 2);
  out.push_back(':');
  AppendPadded(&out, static_cast<int>(time.seconds().count()), 2);
  const auto milliseconds = static_cast<int>(time.subseconds().count());
  if (milliseconds != 0) {
    out.push_back('.');
    AppendPadded(&out, milliseconds, 3);
  }
  return out;
}

}  // namespace

std::optional<Moment> ReadMoment(std::string_view text) {
  const auto r = Read(text);
  if (!r) return std::nullopt;
  const std::chrono::year_month_day date(std::chrono::year(r->year),
                                         std::chrono::month(static_cast<unsigned>(r->month)),
                                         std::chrono::day(static_cast<unsigned>(r->day)));
  if (!date.ok()) return std::nullopt;
  const Instant wall = std::chrono::sys_days(date) + std::chrono::hours(r->hour) +
                       std::chrono::minutes(r->minute) + std::chrono::seconds(r->second) +
                       std::chrono::milliseconds(r->milliseconds);
  Moment moment{wall - std::chrono::minutes(r->offset_min), std::string(text)};
  // A leap second is accepted and never passed on.
  if (r->second == 60) moment.text = WallText(wall).append(text.substr(r->offset_at));
  return moment;
}

std::string FormatInstant(Instant instant) { return WallText(instant) + "Z"; }

}  // namespace dwell
