#include "daemon/delivery/http_date.h"

#include <array>

namespace dwell::delivery {
namespace {

constexpr std::array<std::string_view, 12> kMonths = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                      "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
constexpr std::array<std::string_view, 7> kDays = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                                   "Friday", "Saturday", "Sunday"};

struct Fields {
  int year = 0, day = 0, hour = 0, minute = 0, second = 0;
  unsigned month = 0;
};

/// Matches `text` against a pattern: "Y", "D", "h", "m", "s" take that many digits as they are long
/// (a blank may stand before a one-digit day), "M" a month's name, "Z" the zone's, all else itself.
bool Match(std::string_view text, std::string_view pattern, Fields& fields) {
  const auto digit = [&](int& into) {
    if (text.empty()) return false;
    const bool is_padding = text.front() == ' ' && into == 0 && &into == &fields.day;
    if (!is_padding && (text.front() < '0' || text.front() > '9')) return false;
    into = into * 10 + (is_padding ? 0 : text.front() - '0');
    text.remove_prefix(1);
    return true;
  };
  const auto literal = [&](std::string_view word) {
    if (!text.starts_with(word)) return false;
    text.remove_prefix(word.size());
    return true;
  };
  const auto month = [&] {
    for (unsigned i = 0; i < kMonths.size(); ++i) {
      if (!literal(kMonths[i])) continue;
      fields.month = i + 1;
      return true;
    }
    return false;
  };
  for (const char c : pattern) {
    bool ok = false;
    switch (c) {
      case 'Y':
        ok = digit(fields.year);
        break;
      case 'D':
        ok = digit(fields.day);
        break;
      case 'h':
        ok = digit(fields.hour);
        break;
      case 'm':
        ok = digit(fields.minute);
        break;
      case 's':
        ok = digit(fields.second);
        break;
      case 'M':
        ok = month();
        break;
      case 'Z':
        ok = literal("GMT");
        break;
      default:
        ok = literal({&c, 1});
    }
    if (!ok) return false;
  }
  return text.empty();
}

/// Takes the weekday's name off the front: three letters, or all of them when `whole`.
bool TakeWeekday(std::string_view& text, bool whole) {
  for (const std::string_view day : kDays) {
    const std::string_view name = whole ? day : day.substr(0, 3);
    if (!text.starts_with(name)) continue;
    text.remove_prefix(name.size());
    return true;
  }
  return false;
}

std::optional<Instant> ToInstant(const Fields& fields) {
  const std::chrono::year_month_day day{std::chrono::year(fields.year),
                                        std::chrono::month(fields.month),
                                        std::chrono::day(static_cast<unsigned>(fields.day))};
  if (!day.ok() || fields.hour > 23 || fields.minute > 59 || fields.second > 60)
    return std::nullopt;
  return std::chrono::sys_days(day) + std::chrono::hours(fields.hour) +
         std::chrono::minutes(fields.minute) + std::chrono::seconds(fields.second);
}

}  // namespace

std::optional<Instant> ReadHttpDate(std::string_view text, Instant now) {
  struct Form {
    bool whole_weekday;
    bool short_year;
    std::string_view pattern;
  };
  static constexpr std::array<Form, 3> kForms = {{
      {false, false, ", DD M YYYY hh:mm:ss Z"},
      {true, true, ", DD-M-YY hh:mm:ss Z"},
      {false, false, " M DD hh:mm:ss YYYY"},
  }};
  for (const Form& form : kForms) {
    std::string_view rest = text;
    Fields fields;
    if (!TakeWeekday(rest, form.whole_weekday)) continue;
    if (!Match(rest, form.pattern, fields)) continue;
    if (form.short_year) {
      const std::chrono::year_month_day today{std::chrono::floor<std::chrono::days>(now)};
      const int this_year = static_cast<int>(today.year());
      fields.year += this_year - this_year % 100;
      if (fields.year > this_year + 50) fields.year -= 100;
    }
    return ToInstant(fields);
  }
  return std::nullopt;
}

}  // namespace dwell::delivery
