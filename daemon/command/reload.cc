#include "daemon/command/reload.h"

#include "daemon/command/long_answer.h"
#include "daemon/command/remap.h"
#include "daemon/command/table.h"
#include "schemas/json/writer.h"

namespace dwell::command {
namespace {

/// A list of keys that need a restart, at most.
constexpr std::size_t kRowBytesMax = std::size_t{1} << 20U;

std::string RequestFor(const Options& options) {
  schemas::JsonWriter request;
  request.BeginObject();
  request.Member("request", "reload");
  request.Member("by", options.by);
  request.Member("why", options.why);
  request.EndObject();
  return request.Take();
}

std::string Progress(schemas::Value row) {
  const std::string waits_for = TextAt(row, "/waits_for");
  const std::string words = TextAt(row, "/looked_at") + " of " + TextAt(row, "/of") + " lines";
  return waits_for == "-" ? words : words + ", waiting: " + waits_for;
}

bool IsTrouble(schemas::Value row) {
  const std::string troubles = TextAt(row, "/sums/troubles");
  return troubles != "-" && troubles != "0";
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
  LongAnswer answer;
  answer.row_bytes_max = kRowBytesMax;
  answer.in_words = [](schemas::Value row) {
    return row.Find("sums") ? RemappedInWords(row) : InForceInWords(row);
  };
  answer.progress = [](schemas::Value row, double) { return Progress(row); };
  answer.is_trouble = IsTrouble;
  return AskLong(socket, RequestFor(options), options, answer);
}

}  // namespace dwell::command
