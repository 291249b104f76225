#include "daemon/command/decide.h"

#include <cstdio>

#include "daemon/command/admin_client.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", options.verb);
  request.Member("by", options.by);
  request.Member("why", options.why);
  if (!options.target.empty()) request.Member("target", options.target);
  if (!options.source.empty()) request.Member("source", options.source);
  if (!options.all_of.empty()) request.Member("all_of", options.all_of);
  request.EndObject();
  return request.Take();
}

/// How many entries a list of the row has; 0 without it.
std::size_t Length(schemas::Value row, std::string_view name) {
  const auto list = row.Find(name);
  return list && list->is_array() ? list->size() : 0;
}

}  // namespace

std::string DecidedInWords(schemas::Value row) {
  std::string words = "delivery " + TextAt(row, "/delivery");
  if (const std::string at = TextAt(row, "/endpoint"); at != "-") words += " to " + at;
  words += ": ";
  const std::string refusal = TextAt(row, "/refusal");
  if (refusal != "-") return words + "nothing done, " + refusal + "\n";
  const std::string decision = TextAt(row, "/decision");
  if (decision == "released") return words + "ready again, first of its line\n";
  if (decision == "cancelled") {
    words +=
        "given up and kept; what it held counts as not issued, and what of it is still so is "
        "in the line's next delivery:\n";
    const auto names = row.Find("not_issued");
    if (!names || !names->is_array()) return words;
    for (const schemas::Value name : *names) words += "  " + TextAt(name, "") + "\n";
    return words;
  }
  const std::string again = TextAt(row, "/made_again_as");
  words += again == "-" ? "made again, and nothing of it is left to tell"
                        : "made again as delivery " + again;
  const std::size_t with_it = Length(row, "with_it");
  if (with_it != 0) words += ", with " + std::to_string(with_it) + " that waited behind it";
  return words + "\n";
}

Result<int> Decide(const std::string& socket, const Options& options) {
  std::size_t rows = 0;
  std::size_t refused = 0;
  const auto asked = AskDaemon(socket, RequestFor(options), [&](std::string_view text) {
    const auto row = schemas::Document::Parse(text);
    if (!row || !row->root().is_object()) return;
    ++rows;
    if (row->root().Find("refusal")) ++refused;
    const std::string line = options.json ? std::string(text) + "\n" : DecidedInWords(row->root());
    std::fwrite(line.data(), 1, line.size(), stdout);
  });
  if (!asked) return asked.error();
  if (rows == 0 && !options.json) std::fputs("nothing is on hold for such a reason\n", stdout);
  return refused == 0 ? 0 : 1;
}

}  // namespace dwell::command
