#include "daemon/command/remap.h"

#include "daemon/base/limits.h"
#include "daemon/command/long_answer.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

/// A row holds all that differs of one line, narratives too.
constexpr std::size_t kRowBytesMax = 256 * limits::kMiB;

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "remap");
  WriteLinesAndDecision(request, options);
  if (options.all) request.MemberBool("all", true);
  request.EndObject();
  return request.Take();
}

std::string StateInWords(const std::string& state) {
  if (state == "not-kept") return "what was issued is not kept any more, sent to be sure";
  if (state == "given-up") return "was in a delivery that was given up";
  if (state == "new") return "was not issued yet";
  return state;
}

std::string ResourceInWords(schemas::Value resource) {
  std::string words = "  " + TextAt(resource, "/resource") + " (" + TextAt(resource, "/role") +
                      "): " + StateInWords(TextAt(resource, "/state")) + "\n";
  const auto changes = resource.Find("changes");
  if (!changes || !changes->is_array()) return words;
  for (const schemas::Value change : *changes) {
    words += "    " + TextAt(change, "/at") + ": " + ShortTextAt(change, "/before") + " -> " +
             ShortTextAt(change, "/after") + "\n";
  }
  return words;
}

std::string SumsInWords(schemas::Value sums) {
  std::string words = TextAt(sums, "/lines") + " lines derived again, something differs in " +
                      TextAt(sums, "/differ") + "; deliveries made: " + TextAt(sums, "/sent") +
                      "\n";
  const auto types = sums.Find("types");
  if (types && types->is_object()) {
    for (const schemas::Value type : *types) {
      words += "  " + std::string(type.name()) + " " + TextAt(type, "") + "\n";
    }
  }
  const auto tell = [&](std::string_view pointer, const char* what) {
    const std::string count = TextAt(sums, pointer);
    if (count != "0" && count != "-") words += count + what;
  };
  tell("/same", " resources come out as they were issued and are not sent\n");
  tell("/behind_on_hold", " lines have a delivery on hold: what differs waits behind it\n");
  tell("/no_longer_kept",
       " lines ended long ago and are no longer kept: they stay as they were sent\n");
  tell("/troubles", " lines could not be done, see above\n");
  return words;
}

}  // namespace

std::string RemappedInWords(schemas::Value row) {
  if (const auto sums = row.Find("sums")) return SumsInWords(*sums);
  std::string words = "line " + TextAt(row, "/line_id") + " of " + TextAt(row, "/source") +
                      ", ward " + TextAt(row, "/ward");
  const std::string delivery = TextAt(row, "/delivery");
  if (delivery != "-") words += ": delivery " + delivery;
  const std::string on_hold = TextAt(row, "/on_hold");
  if (on_hold != "0" && on_hold != "-") words += ", behind " + on_hold + " on hold";
  words += "\n";
  const std::string trouble = TextAt(row, "/trouble");
  if (trouble != "-") words += "  nothing done: " + trouble + "\n";
  const auto resources = row.Find("resources");
  if (!resources || !resources->is_array()) return words;
  for (const schemas::Value resource : *resources) words += ResourceInWords(resource);
  return words;
}

Result<int> Remap(const std::string& socket, const Options& options) {
  LongAnswer answer;
  answer.row_bytes_max = kRowBytesMax;
  answer.in_words = RemappedInWords;
  answer.progress = [](schemas::Value row, double) {
    return TextAt(row, "/looked_at") + " of " + TextAt(row, "/of") + " lines";
  };
  answer.is_trouble = [](schemas::Value row) { return row.Find("trouble").has_value(); };
  return AskLong(socket, RequestFor(options), options, answer);
}

}  // namespace dwell::command
