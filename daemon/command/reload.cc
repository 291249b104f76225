#include "daemon/command/reload.h"

#include <unistd.h>

#include <cstdio>

#include "daemon/command/admin_client.h"
#include "daemon/command/remap.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "reload");
  request.Member("by", options.by);
  request.Member("why", options.why);
  request.EndObject();
  return request.Take();
}

void ShowProgress(schemas::Value row) {
  const std::string waits_for = TextAt(row, "/waits_for");
  std::fprintf(stderr, "\r%s of %s lines", TextAt(row, "/looked_at").c_str(),
               TextAt(row, "/of").c_str());
  if (waits_for != "-") std::fprintf(stderr, ", waiting: %s", waits_for.c_str());
}

}  // namespace

std::string InForceInWords(schemas::Value row) {
  std::string words = "in force: policy " + TextAt(row, "/policy") + ", version " +
                      TextAt(row, "/version") + "; tz data " + TextAt(row, "/tz_data") + "\n";
  const auto keys = row.Find("needs_restart");
  if (!keys || !keys->is_array() || keys->size() == 0) return words;
  std::string names;
  for (const schemas::Value key : *keys) {
    names.append(names.empty() ? "" : ", ").append(key.AsString());
  }
  return words + "needs a restart: " + names + "\n";
}

Result<int> Reload(const std::string& socket, const Options& options) {
  const bool progress = options.progress || ::isatty(STDERR_FILENO) == 1;
  bool shown = false;
  bool trouble = false;
  const auto asked = AskDaemon(socket, RequestFor(options), [&](std::string_view text) {
    const auto row = schemas::Document::Parse(text);
    if (!row || !row->root().is_object()) return;
    if (row->root().Find("looked_at")) {
      if (progress) ShowProgress(row->root());
      shown = shown || progress;
      return;
    }
    if (shown) std::fputs("\n", stderr);
    shown = false;
    const std::string troubles = TextAt(row->root(), "/sums/troubles");
    trouble = troubles != "-" && troubles != "0";
    const std::string words = options.json               ? std::string(text) + "\n"
                              : row->root().Find("sums") ? RemappedInWords(row->root())
                                                         : InForceInWords(row->root());
    std::fwrite(words.data(), 1, words.size(), stdout);
  });
  if (shown) std::fputs("\n", stderr);
  if (!asked) return asked.error();
  return trouble ? 1 : 0;
}

}  // namespace dwell::command
