#include <algorithm>
#include <array>
#include <chrono>
#include <utility>

#include "daemon/command/handover.h"
#include "daemon/command/table.h"

namespace dwell::command {
namespace {

/// The clock looks several times a second: what is behind by more than this is behind.
constexpr std::chrono::seconds kBehindMax{60};

constexpr const char* kCaution =
    "Computed from the events that were told; dwelld sees neither the patient nor the site. Local "
    "policy, the maker's instructions and the judgement of a registered practitioner come first.";

struct Head {
  std::string title, as_of, counts;
  std::vector<std::string> warnings;
};

Head HeadOf(const Handover& handover) {
  Head head;
  head.title =
      handover.ward.empty() ? "Vascular lines, all wards" : "Vascular lines, ward " + handover.ward;
  head.as_of = "as of " + handover.local_time(handover.now) + " (" + handover.zone + ")";
  const auto in_place = std::ranges::count_if(handover.lines, &WardLine::MayBeInPlace);
  head.counts = std::to_string(in_place) + " in place, " +
                std::to_string(static_cast<std::ptrdiff_t>(handover.lines.size()) - in_place) +
                " removed and still to be looked at";
  if (!handover.caught_up_to || handover.now - *handover.caught_up_to > kBehindMax) {
    head.warnings.push_back(
        "NOT UP TO DATE: what fell due has been looked at up to " +
        (handover.caught_up_to ? handover.local_time(*handover.caught_up_to) : "no time") +
        " only");
  }
  const std::string silence = SilenceWarning(handover.silent, handover.local_time);
  if (!silence.empty()) head.warnings.push_back(silence);
  return head;
}

constexpr std::array<std::string_view, 10> kTitles = {
    "PLACE",  "PATIENT",    "LINE",  "SITE",       "SINCE",
    "OUT BY", "LAST CHECK", "GRADE", "NEXT CHECK", "CONCERNS"};

std::vector<std::string> CellsOf(HandoverRow row) {
  return {std::move(row.place),      std::move(row.patient), std::move(row.line),
          std::move(row.site),       std::move(row.since),   std::move(row.out_by),
          std::move(row.last_check), std::move(row.grade),   std::move(row.next_check),
          std::move(row.concerns)};
}

/// For text in HTML (HTML Living Standard 13.1.2, 13.5).
std::string Escaped(std::string_view text) {
  std::string escaped;
  for (const char c : text) {
    switch (c) {
      case '&':
        escaped += "&amp;";
        break;
      case '<':
        escaped += "&lt;";
        break;
      case '>':
        escaped += "&gt;";
        break;
      case '"':
        escaped += "&quot;";
        break;
      default:
        escaped += c;
    }
  }
  return escaped;
}

std::string Element(std::string_view name, std::string_view text) {
  std::string element = "<";
  element.append(name).append(">").append(Escaped(text)).append("</").append(name).append(">");
  return element;
}

constexpr std::string_view kStyle =
    "body{font:10pt sans-serif;margin:1em}table{border-collapse:collapse;width:100%}"
    "th,td{border:1px solid #777;padding:.2em .4em;text-align:left;vertical-align:top}"
    "tr.now td{font-weight:bold;background:#ddd}thead{display:table-header-group}"
    "tr{break-inside:avoid}.warning{font-weight:bold;border:2px solid #000;padding:.3em}"
    "@page{size:A4 landscape;margin:12mm}";

/// The two parts of the list.
struct Part {
  std::string_view title, if_empty;
  bool in_place;
};
constexpr std::array<Part, 2> kParts{{
    {"In place", "No lines are known to be in place.", true},
    {"Removed, and the old site still to be looked at", "None.", false},
}};

std::vector<const WardLine*> LinesOf(const Part& part, const Handover& handover) {
  std::vector<const WardLine*> lines;
  for (const WardLine& line : handover.lines) {
    if (line.MayBeInPlace() == part.in_place) lines.push_back(&line);
  }
  return lines;
}

std::string TableInHtml(const std::vector<const WardLine*>& lines, const Handover& handover) {
  std::string html = "<table><thead><tr>";
  for (const std::string_view title : kTitles) html += Element("th", title);
  html += "</tr></thead><tbody>\n";
  for (const WardLine* line : lines) {
    const bool is_pressing = UrgencyOf(*line, handover.now) <= Urgency::kOverdue;
    html += is_pressing ? "<tr class=\"now\">" : "<tr>";
    for (const std::string& cell : CellsOf(RowOf(*line, handover))) html += Element("td", cell);
    html += "</tr>\n";
  }
  return html + "</tbody></table>\n";
}

}  // namespace

std::string HandoverText(const Handover& handover) {
  const Head head = HeadOf(handover);
  std::string text = head.title + "\n" + head.as_of + ": " + head.counts + "\n";
  for (const std::string& warning : head.warnings) text += warning + "\n";
  for (const Part& part : kParts) {
    text.append("\n").append(part.title).append("\n");
    Table table = Table::OfCells({kTitles.begin(), kTitles.end()});
    const auto lines = LinesOf(part, handover);
    for (const WardLine* line : lines) table.Add(CellsOf(RowOf(*line, handover)));
    text += lines.empty() ? std::string(part.if_empty) + "\n" : table.Print();
  }
  return text + "\n" + kCaution + "\n";
}

std::string HandoverHtml(const Handover& handover) {
  const Head head = HeadOf(handover);
  std::string html = "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">";
  html += Element("title", head.title);
  html.append("<style>").append(kStyle).append("</style></head><body>\n");
  html += Element("h1", head.title) + "\n" + Element("p", head.as_of + ": " + head.counts) + "\n";
  for (const std::string& warning : head.warnings) {
    html += "<p class=\"warning\">" + Escaped(warning) + "</p>\n";
  }
  for (const Part& part : kParts) {
    html += Element("h2", part.title) + "\n";
    const auto lines = LinesOf(part, handover);
    html += lines.empty() ? Element("p", part.if_empty) + "\n" : TableInHtml(lines, handover);
  }
  return html + Element("p", kCaution) + "\n</body></html>\n";
}

}  // namespace dwell::command
