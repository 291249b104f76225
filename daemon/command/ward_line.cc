#include "daemon/command/ward_line.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <tuple>

#include "daemon/command/table.h"

namespace dwell::command {
namespace {

using std::chrono::minutes;

std::string Words(schemas::Value row, std::string_view pointer) {
  std::string text = TextAt(row, pointer);
  return text == "-" ? std::string() : text;
}

std::optional<std::int64_t> Number(std::string_view text) {
  std::int64_t number = 0;
  const auto read = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool is_whole = read.ec == std::errc() && read.ptr == text.data() + text.size();
  return is_whole ? std::optional(number) : std::nullopt;
}

WardDue ReadDue(schemas::Value row) {
  return {Words(row, "/rule"), Words(row, "/stage"), Words(row, "/reason"),
          InstantAt(row, "/due_at"), InstantAt(row, "/forgotten_from")};
}

bool IsForgotten(const WardDue& due, Instant now) {
  return due.forgotten_from && *due.forgotten_from <= now;
}

Urgency UrgencyOf(const WardDue& due, Instant now) {
  if (IsForgotten(due, now)) return Urgency::kForgotten;
  if (due.rule == "remove-now") return Urgency::kRemoveNow;
  if (due.stage == "overdue") return Urgency::kOverdue;
  if (due.stage == "due") return Urgency::kDue;
  return due.stage == "due-soon" ? Urgency::kDueSoon : Urgency::kLater;
}

/// Urgency, and when what is so urgent was or will be due.
using Rank = std::tuple<Urgency, Instant>;

Rank RankOf(const WardLine& line, Instant now) {
  Rank rank{Urgency::kNothingDue, Instant::max()};
  if (line.phase == "unreadable") rank = {Urgency::kUnreadable, Instant::min()};
  for (const WardDue& due : line.dues) {
    rank = std::min(rank, Rank{UrgencyOf(due, now), due.due_at.value_or(Instant::min())});
  }
  return rank;
}

}  // namespace

const WardDue* WardLine::Find(std::string_view rule) const {
  const auto found = std::ranges::find(dues, rule, &WardDue::rule);
  return found == dues.end() ? nullptr : &*found;
}

bool WardLine::MayBeInPlace() const {
  return phase != "removed" && phase != "not-placed" && phase != "taken-back" &&
         phase != "no-longer-kept";
}

WardLine ReadWardLine(schemas::Value row) {
  WardLine line;
  line.source = Words(row, "/source");
  line.line_id = Words(row, "/line_id");
  line.patient = Words(row, "/patient/value");
  line.phase = Words(row, "/phase");
  line.ward = Words(row, "/ward");
  line.bay = Words(row, "/bay");
  line.bed = Words(row, "/bed");
  line.kind = Words(row, "/kind");
  line.site = Words(row, "/site/place");
  const std::string side = Words(row, "/site/side");
  if (!side.empty()) line.site += (line.site.empty() ? "" : " ") + side;
  line.is_emergency = TextAt(row, "/emergency") == "yes";
  line.since = InstantAt(row, "/since");
  line.removed_at = InstantAt(row, "/removed_at");
  line.last_check = InstantAt(row, "/last_check");
  line.last_grade = Number(TextAt(row, "/last_grade"));
  line.last_grade_scale = Words(row, "/last_grade_scale");
  const auto dues = row.Find("dues");
  if (!dues || !dues->is_array()) return line;
  for (const schemas::Value due : *dues) line.dues.push_back(ReadDue(due));
  return line;
}

std::string_view UrgencyInWords(Urgency urgency) {
  constexpr std::array<std::string_view, 8> kWords = {
      "cannot be read", "not looked at", "remove now", "overdue", "due", "due soon", "later", "-"};
  return kWords[static_cast<std::size_t>(urgency)];
}

Urgency UrgencyOf(const WardLine& line, Instant now) {
  return std::get<Urgency>(RankOf(line, now));
}

void SortByUrgency(std::vector<WardLine>& lines, Instant now) {
  std::ranges::stable_sort(lines, [now](const WardLine& left, const WardLine& right) {
    return RankOf(left, now) < RankOf(right, now);
  });
}

bool IsAskedFor(const WardLine& line, const WardFilter& filter, Instant now) {
  // Of a line that cannot be read the ward is not known either.
  const bool is_readable = line.phase != "unreadable";
  if (!filter.ward.empty() && is_readable && line.ward != filter.ward) return false;
  if (filter.grade_min && (!line.last_grade || *line.last_grade < *filter.grade_min)) return false;
  if (!is_readable) return true;
  const auto is_within = [&](const WardDue& due) {
    return !due.due_at || *due.due_at <= now + *filter.due_within;
  };
  if (filter.due_within && !std::ranges::any_of(line.dues, is_within)) return false;
  return !filter.overdue || UrgencyOf(line, now) <= Urgency::kOverdue;
}

std::optional<minutes> ReadSpan(std::string_view text) {
  if (text.size() < 2) return std::nullopt;
  const auto number = Number(text.substr(0, text.size() - 1));
  const char unit = text.back();
  const std::int64_t factor = unit == 'm' ? 1 : unit == 'h' ? 60 : unit == 'd' ? 24 * 60 : 0;
  constexpr std::int64_t kMost = std::int64_t{366} * 24 * 60;
  if (!number || *number < 0 || *number > kMost || factor == 0) return std::nullopt;
  if (*number * factor > kMost) return std::nullopt;
  return minutes(*number * factor);
}

}  // namespace dwell::command
