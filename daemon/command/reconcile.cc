#include "daemon/command/reconcile.h"

#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>

#include "daemon/base/limits.h"
#include "daemon/command/admin_client.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

/// A row holds the places of one resource that differ.
constexpr schemas::ParseLimits kRowLimits{
    .bytes_max = 64 * limits::kMiB, .depth_max = 8, .values_max = 1'000'000};

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "reconcile");
  request.Member("since", options.since);
  if (!options.until.empty()) request.Member("until", options.until);
  if (!options.source.empty()) request.Member("source", options.source);
  if (!options.line.empty()) request.Member("line_id", options.line);
  if (!options.ward.empty()) request.Member("ward", options.ward);
  if (options.send) {
    request.MemberBool("send", true);
    if (options.overwrite) request.MemberBool("overwrite", true);
    request.Member("by", options.by);
    request.Member("why", options.why);
  }
  request.EndObject();
  return request.Take();
}

struct Words {
  std::string_view grade, words;
};
constexpr Words kGrades[] = {
    {"wrong-patient", "NAMES ANOTHER PATIENT"},
    {"missing", "missing"},
    {"differs", "differs"},
    {"unreadable", "could not be read"},
};

std::string GradeInWords(const std::string& grade) {
  for (const Words& row : kGrades) {
    if (row.grade == grade) return std::string(row.words);
  }
  return grade;
}

std::string LineInWords(schemas::Value row) {
  return "line " + TextAt(row, "/line_id") + " of " + TextAt(row, "/source");
}

std::string FindingInWords(schemas::Value row) {
  std::string words = TextAt(row, "/resource") + ": " + GradeInWords(TextAt(row, "/grade"));
  if (row.Find("changed_since")) words += ", written since by somebody else";
  words += "\n  " + LineInWords(row) + ", ward " + TextAt(row, "/ward") + ", delivery " +
           TextAt(row, "/delivery") + ", accepted " + TextAt(row, "/accepted_at") + "\n";
  const std::string why = TextAt(row, "/why");
  if (why != "-") words += "  " + why + "\n";
  const auto differences = row.Find("differences");
  if (!differences || !differences->is_array()) return words;
  for (const schemas::Value one : *differences) {
    words += "  " + TextAt(one, "/at") + ": sent " + ShortTextAt(one, "/sent") + ", held " +
             ShortTextAt(one, "/held") + "\n";
  }
  const std::string more = TextAt(row, "/more");
  if (more != "-") words += "  and " + more + " places more\n";
  return words;
}

std::string SentInWords(schemas::Value sent) {
  std::string deliveries;
  const auto numbers = sent.Find("deliveries");
  if (numbers && numbers->is_array()) {
    for (const schemas::Value number : *numbers) deliveries += " " + TextAt(number, "");
  }
  std::string words = LineInWords(sent) + ": " + TextAt(sent, "/resources") + " sent again" +
                      (deliveries.empty() ? "" : ", delivery" + deliveries);
  const std::string left_out = TextAt(sent, "/left_out");
  if (left_out != "-") words += "; " + left_out + " left out, the line has gone on since";
  return words + "\n";
}

std::string SumsInWords(schemas::Value sums) {
  std::string words =
      TextAt(sums, "/compared") + " resources of " + TextAt(sums, "/lines") + " lines compared\n";
  const auto tell = [&](std::string_view pointer, const char* what) {
    const std::string count = TextAt(sums, pointer);
    if (count != "0" && count != "-") words += count + what;
  };
  tell("/wrong_patient", " NAME ANOTHER PATIENT\n");
  tell("/missing", " missing\n");
  tell("/differs", " differ\n");
  tell("/changed_since", " of these written since by somebody else\n");
  tell("/unreadable", " could not be read\n");
  tell("/on_its_way", " not compared: a delivery that waits writes them anyway\n");
  tell("/given_up", " not compared: given up, the line's next delivery carries them\n");
  tell("/not_kept", " deliveries no longer kept: what they held was not compared\n");
  tell("/troubles", " lines could not be looked at, see above\n");
  tell("/sent", " sent again\n");
  return words;
}

}  // namespace

std::string ReconciledInWords(schemas::Value row) {
  if (const auto sums = row.Find("sums")) return SumsInWords(*sums);
  if (const auto sent = row.Find("sent")) return SentInWords(*sent);
  if (row.Find("trouble")) {
    return LineInWords(row) + " could not be looked at: " + TextAt(row, "/trouble") + "\n";
  }
  return FindingInWords(row);
}

std::string ProgressInWords(schemas::Value row, double seconds) {
  const std::string compared = TextAt(row, "/compared");
  char rate[32] = "";
  if (seconds > 0) {
    std::snprintf(rate, sizeof rate, ", %.0f per second", std::atof(compared.c_str()) / seconds);
  }
  std::string words = TextAt(row, "/looked_at") + " of " + TextAt(row, "/of") + " lines, " +
                      compared + " resources compared" + rate;
  const std::string waiting = TextAt(row, "/waiting");
  if (waiting != "-") words += "; waits: " + waiting;
  return words;
}

Result<int> Reconcile(const std::string& socket, const Options& options) {
  using Clock = std::chrono::steady_clock;
  const bool progress = options.progress || ::isatty(STDERR_FILENO) == 1;
  const auto begun = Clock::now();
  bool shown = false;
  bool found = false;
  bool unreadable = false;
  const auto asked = AskDaemon(socket, RequestFor(options), [&](std::string_view text) {
    const auto row = schemas::Document::Parse(text, kRowLimits);
    if (!row || !row->root().is_object()) {
      unreadable = true;
      return;
    }
    if (row->root().Find("looked_at")) {
      if (!progress) return;
      const double seconds = std::chrono::duration<double>(Clock::now() - begun).count();
      const std::string words = ProgressInWords(row->root(), seconds);
      std::fprintf(stderr, "\r\033[K%s", words.c_str());
      shown = true;
      return;
    }
    if (shown) std::fputs("\n", stderr);
    shown = false;
    found = found || row->root().Find("grade") || row->root().Find("trouble");
    const std::string words =
        options.json ? std::string(text) + "\n" : ReconciledInWords(row->root());
    std::fwrite(words.data(), 1, words.size(), stdout);
  });
  if (shown) std::fputs("\n", stderr);
  if (!asked) return asked.error();
  if (unreadable) return Error(ErrorKind::kData, "the daemon's answer is not complete");
  return found ? 1 : 0;
}

}  // namespace dwell::command
