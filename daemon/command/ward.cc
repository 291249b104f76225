#include "daemon/command/ward.h"

#include <algorithm>
#include <cstdio>
#include <memory>

#include "daemon/command/admin_client.h"
#include "daemon/command/dues.h"
#include "daemon/command/handover.h"
#include "daemon/command/listings.h"
#include "daemon/command/table.h"
#include "mapping/due/policy.h"

namespace dwell::command {
namespace {

void Print(std::string_view text) { std::fwrite(text.data(), 1, text.size(), stdout); }

/// What the daemon says of itself, as far as its listings hang on it.
struct Daemon {
  Instant now{};
  std::optional<Instant> caught_up_to;
  std::string zone;
  std::vector<SilentSource> silent;
};

Result<Daemon> AskAboutDaemon(const std::string& socket) {
  std::optional<Daemon> daemon;
  const auto asked = AskDaemon(socket, R"({"request":"status"})", [&daemon](std::string_view row) {
    const auto document = schemas::Document::Parse(row);
    const auto now = document ? InstantAt(document->root(), "/now") : std::nullopt;
    if (!now) return;
    daemon = {*now, InstantAt(document->root(), "/caught_up_to"), TextAt(document->root(), "/zone"),
              SilentSourcesOf(document->root())};
  });
  if (!asked) return asked.error();
  if (!daemon)
    return Error(ErrorKind::kData, "the daemon does not tell its time: is it as new as dwell?");
  return *daemon;
}

using Wanted = std::function<bool(const WardLine&)>;

/// The lines that are wanted.
Result<std::vector<WardLine>> AskForLines(const std::string& socket, const Wanted& wanted) {
  std::vector<WardLine> lines;
  const auto asked = AskDaemon(socket, R"({"request":"lines"})", [&](std::string_view row) {
    const auto document = schemas::Document::Parse(row);
    WardLine line;
    line.phase = "unreadable";  // what is no JSON says nothing, and is not left out
    if (document && document->root().is_object()) line = ReadWardLine(document->root());
    if (!wanted(line)) return;
    line.row = row;
    lines.push_back(std::move(line));
  });
  if (!asked) return asked.error();
  return lines;
}

/// In use, or something is still due at it.
bool IsOfInterest(const WardLine& line) { return line.MayBeInPlace() || !line.dues.empty(); }

std::vector<Column> LineColumns() {
  return {{"LINE", "/line_id"},     {"WARD", "/ward /bay /bed"}, {"KIND", "/kind"},
          {"PHASE", "/phase"},      {"SINCE", "/since"},         {"LAST CHECK", "/last_check"},
          {"GRADE", "/last_grade"}, {"DUE", "", DuesInWords}};
}

void PrintLines(const std::vector<WardLine>& lines, Instant now) {
  std::vector<std::string_view> titles = {"PRESSING"};
  for (const Column& column : LineColumns()) titles.push_back(column.title);
  Table table = Table::OfCells(titles);
  for (const WardLine& line : lines) {
    table.Add(LineCells(line, now));
  }
  Print(table.Print());
}

/// What `options` ask for; or what cannot be read.
Result<WardFilter> FilterOf(const Options& options) {
  WardFilter filter;
  filter.ward = options.ward;
  filter.overdue = options.overdue;
  if (options.grade) filter.grade_min = *options.grade;
  if (options.due_within.empty()) return filter;
  filter.due_within = ReadSpan(options.due_within);
  if (filter.due_within) return filter;
  return Error(ErrorKind::kUsage, "--due-within: minutes, hours or days as 90m, 4h or 2d");
}

}  // namespace

std::vector<std::string> LineCells(const WardLine& line, Instant now) {
  const auto document = schemas::Document::Parse(line.row);
  const bool is_read = document && document->root().is_object();
  std::vector<std::string> cells = {std::string(UrgencyInWords(UrgencyOf(line, now)))};
  for (const Column& column : LineColumns()) {
    cells.push_back(is_read ? CellOf(column, document->root()) : "-");
  }
  return cells;
}

Result<int> ListLines(const std::string& socket, const Options& options) {
  const auto filter = FilterOf(options);
  if (!filter) return filter.error();
  const auto daemon = AskAboutDaemon(socket);
  if (!daemon) return daemon.error();
  const std::string warning = SilenceWarning(daemon->silent, FormatInstant);
  if (!warning.empty()) {  // a program that reads JSON lines finds nothing else among them
    std::fprintf(options.json ? stderr : stdout, "%s\n\n", warning.c_str());
  }
  if (options.all) {  // may be a million: as they come
    return List(socket, R"({"request":"lines"})", options.json, LineColumns(), "no lines");
  }
  std::size_t not_graded = 0;
  auto lines = AskForLines(socket, [&](const WardLine& line) {
    if (!IsOfInterest(line)) return false;
    if (filter->grade_min && line.MayBeInPlace() && !line.last_grade) ++not_graded;
    return IsAskedFor(line, *filter, daemon->now);
  });
  if (!lines) return lines.error();
  SortByUrgency(*lines, daemon->now);
  if (options.json) {
    for (const WardLine& line : *lines) Print(line.row + "\n");
    return 0;
  }
  lines->empty() ? Print("no lines\n") : PrintLines(*lines, daemon->now);
  if (not_graded > 0) {
    Print("\nnot listed: " + std::to_string(not_graded) +
          " that may be in place and have no grade\n");
  }
  return 0;
}

Result<int> PrintHandover(const std::string& socket, const Options& options) {
  auto daemon = AskAboutDaemon(socket);
  if (!daemon) return daemon.error();
  const auto zone = due::Zone::Load(daemon->zone);
  if (!zone) return zone.error();
  WardFilter filter;
  filter.ward = options.ward;
  auto lines = AskForLines(socket, [&](const WardLine& line) {
    return IsOfInterest(line) && IsAskedFor(line, filter, daemon->now);
  });
  if (!lines) return lines.error();
  SortByUrgency(*lines, daemon->now);
  const Handover handover{options.ward,
                          daemon->zone,
                          daemon->now,
                          daemon->caught_up_to,
                          std::move(daemon->silent),
                          std::move(*lines),
                          [&zone](Instant at) { return ForTheEye(zone->Format(at)); }};
  Print(options.html ? HandoverHtml(handover) : HandoverText(handover));
  return 0;
}

}  // namespace dwell::command
