#include "daemon/command/handover.h"

#include <algorithm>
#include <array>
#include <chrono>

namespace dwell::command {
namespace {

constexpr std::string_view kNoData = "no data";

struct Words {
  std::string_view code, words;
};

/// Why a line must come out (due::Due::reason).
constexpr std::array<Words, 7> kReasons{{
    {"phlebitis-grade", "phlebitis grade"},
    {"phlebitis-signs", "signs of more phlebitis than was entered"},
    {"phlebitis-definition", "meets the definition of phlebitis"},
    {"infiltration-grade", "infiltration grade"},
    {"infiltration-signs", "signs of infiltration"},
    {"swelling-on-flush", "swelling on flush"},
    {"no-longer-required", "no longer needed"},
}};

/// What is wrong when a thing of that rule is due or overdue.
constexpr std::array<Words, 4> kLate{{
    {"removal-due", "to come out"},
    {"site-check-due", "check"},
    {"dressing-change-due", "dressing"},
    {"post-removal-watch", "last look at the old site"},
}};

std::string_view Find(const auto& table, std::string_view code) {
  const auto* const row = std::ranges::find(table, code, &Words::code);
  return row == table.end() ? code : row->words;
}

std::string OrNoData(const std::string& text) { return text.empty() ? std::string(kNoData) : text; }

std::string At(const std::optional<Instant>& at, const Handover& handover) {
  return at ? handover.local_time(*at) : std::string(kNoData);
}

std::string DueAt(const WardLine& line, std::string_view rule, std::string_view otherwise,
                  const Handover& handover) {
  const WardDue* const due = line.Find(rule);
  return due == nullptr ? std::string(otherwise) : At(due->due_at, handover);
}

std::string Place(const WardLine& line, bool with_ward) {
  std::string place = with_ward ? line.ward : std::string();
  for (const std::string& part : {line.bay, line.bed}) {
    if (!part.empty()) place += (place.empty() ? "" : " ") + part;
  }
  return OrNoData(place);
}

std::string GradeOf(const WardLine& line) {
  if (line.last_grade) {
    return std::to_string(*line.last_grade) +
           (line.last_grade_scale.empty() ? "" : " " + line.last_grade_scale);
  }
  return line.last_check ? "not graded" : std::string(kNoData);
}

/// In a ward's words, where the due alone says something; empty otherwise.
std::string ConcernOf(const WardDue& due, const Handover& handover) {
  if (due.rule == "remove-now") return "REMOVE NOW: " + std::string(Find(kReasons, due.reason));
  if (due.rule == "insertion-record-missing") return "nobody told of the insertion";
  if (due.rule == "policy-missing") {
    return due.reason.empty() ? "the policy has no rules for it"
                              : "the policy does not know a name told (" + due.reason + ")";
  }
  if (due.stage != "due" && due.stage != "overdue") return {};
  return std::string(Find(kLate, due.rule)) + " " + due.stage + " since " +
         At(due.due_at, handover);
}

}  // namespace

std::vector<std::string> ConcernsOf(const WardLine& line, const Handover& handover) {
  std::vector<std::string> concerns;
  if (line.phase == "unreadable") {
    return {"its events can no longer be read: look at the patient, tell operations"};
  }
  const WardDue* const check = line.Find("site-check-due");
  if (check != nullptr && check->forgotten_from && *check->forgotten_from <= handover.now) {
    concerns.emplace_back("NO CHECK IN TWICE ITS INTERVAL");
  }
  for (const WardDue& due : line.dues) {
    std::string concern = ConcernOf(due, handover);
    const bool is_remove_now = due.rule == "remove-now";
    if (concern.empty()) continue;
    concerns.insert(is_remove_now ? concerns.begin() : concerns.end(), std::move(concern));
  }
  if (line.last_grade && *line.last_grade > 0) {
    concerns.push_back("last grade " + std::to_string(*line.last_grade));
  }
  if (line.is_emergency && line.MayBeInPlace()) concerns.emplace_back("emergency insertion");
  return concerns;
}

HandoverRow RowOf(const WardLine& line, const Handover& handover) {
  HandoverRow row;
  row.place = Place(line, handover.ward.empty());
  row.patient = OrNoData(line.patient);
  row.line = OrNoData(line.kind) + ", " + OrNoData(line.line_id);
  row.site = OrNoData(line.site);
  row.since = At(line.since, handover);
  row.last_check = line.last_check ? At(line.last_check, handover) : "none told";
  row.grade = GradeOf(line);
  if (line.MayBeInPlace()) {
    // A rule that is silent is said to be so; where nothing is known at all nothing is said.
    const bool is_known = line.phase == "in-place";
    row.out_by = DueAt(line, "removal-due", is_known ? "no limit set" : kNoData, handover);
    row.next_check = DueAt(line, "site-check-due", is_known ? "none set" : kNoData, handover);
  } else {
    row.out_by = "out " + At(line.removed_at, handover);
    row.next_check = DueAt(line, "post-removal-watch", "none set", handover);
  }
  for (const std::string& concern : ConcernsOf(line, handover)) {
    row.concerns += (row.concerns.empty() ? "" : "; ") + concern;
  }
  return row;
}

std::string ForTheEye(std::string_view local) {
  using namespace std::chrono;
  constexpr std::array<const char*, 7> kDays = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  constexpr std::array<const char*, 12> kMonths = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                   "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const auto midnight = ReadMoment(std::string(local.substr(0, 10)) + "T00:00:00Z");
  if (!midnight || local.size() < 16) return std::string(local);
  const auto day = floor<days>(midnight->instant);
  const year_month_day date{day};
  return std::string(kDays[weekday(day).c_encoding()]) + " " +
         std::to_string(static_cast<unsigned>(date.day())) + " " +
         kMonths[static_cast<unsigned>(date.month()) - 1] + " " + std::string(local.substr(11, 5));
}

}  // namespace dwell::command
