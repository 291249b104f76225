#include "daemon/command/remap.h"

#include <unistd.h>

#include <cstdio>

#include "daemon/base/limits.h"
#include "daemon/command/admin_client.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

/// A row holds all that differs of one line, narratives too.
constexpr schemas::ParseLimits kRowLimits{
    .bytes_max = 256 * limits::kMiB, .depth_max = 8, .values_max = 20'000'000};

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "remap");
  if (!options.source.empty()) request.Member("source", options.source);
  if (!options.line.empty()) request.Member("line_id", options.line);
  if (!options.ward.empty()) request.Member("ward", options.ward);
  if (options.all) request.MemberBool("all", true);
  if (options.send) {
    request.MemberBool("send", true);
    request.Member("by", options.by);
    request.Member("why", options.why);
  }
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
  const bool progress = options.progress || ::isatty(STDERR_FILENO) == 1;
  bool shown = false;
  bool trouble = false;
  bool unreadable = false;
  const auto asked = AskDaemon(socket, RequestFor(options), [&](std::string_view text) {
    const auto row = schemas::Document::Parse(text, kRowLimits);
    if (!row || !row->root().is_object()) {
      unreadable = true;
      return;
    }
    if (row->root().Find("looked_at")) {
      if (!progress) return;
      std::fprintf(stderr, "\r%s of %s lines", TextAt(row->root(), "/looked_at").c_str(),
                   TextAt(row->root(), "/of").c_str());
      shown = true;
      return;
    }
    if (shown) std::fputs("\n", stderr);
    shown = false;
    trouble = trouble || row->root().Find("trouble");
    const std::string line = options.json ? std::string(text) + "\n" : RemappedInWords(row->root());
    std::fwrite(line.data(), 1, line.size(), stdout);
  });
  if (shown) std::fputs("\n", stderr);
  if (!asked) return asked.error();
  if (unreadable) return Error(ErrorKind::kData, "the daemon's answer is not complete");
  return trouble ? 1 : 0;
}

}  // namespace dwell::command
