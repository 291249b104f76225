#include "daemon/command/reconcile.h"

#include <cstdio>
#include <cstdlib>

#include "daemon/base/limits.h"
#include "daemon/command/long_answer.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

/// A row holds the places of one resource that differ.
constexpr std::size_t kRowBytesMax = 64 * limits::kMiB;

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "reconcile");
  if (!options.endpoint_name.empty()) request.Member("endpoint", options.endpoint_name);
  request.Member("since", options.since);
  if (!options.until.empty()) request.Member("until", options.until);
  WriteLinesAndDecision(request, options);
  if (options.overwrite) request.MemberBool("overwrite", true);
  request.EndObject();
  return request.Take();
}

struct Words {
  std::string_view grade, words;
};
constexpr Words kGrades[] = {
    {"wrong-patient", "NAMES ANOTHER PATIENT"},
    {"doubled", "IS THERE MORE THAN ONCE"},
    {"missing", "missing"},
    {"differs", "differs"},
    {"unreadable", "could not be read"},
    {"forbidden", "may not be read"},
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
  const std::string grade = TextAt(row, "/grade");
  std::string words = TextAt(row, "/resource") + ": " + GradeInWords(grade);
  if (grade == "forbidden") return words + "\n  " + TextAt(row, "/why") + "\n";
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
  const std::string endpoint = TextAt(sums, "/endpoint");
  std::string words = endpoint == "-" ? "" : endpoint + ": ";
  words +=
      TextAt(sums, "/compared") + " resources of " + TextAt(sums, "/lines") + " lines compared\n";
  const auto tell = [&](std::string_view pointer, const char* what) {
    const std::string count = TextAt(sums, pointer);
    if (count != "0" && count != "-") words += count + what;
  };
  tell("/wrong_patient", " NAME ANOTHER PATIENT\n");
  tell("/doubled", " ARE THERE MORE THAN ONCE\n");
  tell("/missing", " missing\n");
  tell("/differs", " differ\n");
  tell("/changed_since", " of these written since by somebody else\n");
  tell("/unreadable", " could not be read\n");
  tell("/forbidden", " not compared: they may not be read\n");
  tell("/never_sent", " were never sent there; --send sends them\n");
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
  LongAnswer answer;
  answer.row_bytes_max = kRowBytesMax;
  answer.in_words = ReconciledInWords;
  answer.progress = ProgressInWords;
  answer.is_trouble = [&options](schemas::Value row) {
    const std::string never = TextAt(row, "/sums/never_sent");
    const bool is_lacking = !options.send && never != "0" && never != "-";
    return is_lacking || row.Find("grade") || row.Find("trouble");
  };
  return AskLong(socket, RequestFor(options), options, answer);
}

}  // namespace dwell::command
