#include "daemon/command/silence_words.h"

#include "daemon/command/table.h"

namespace dwell::command {
namespace {

/// The row without a name stands for those there was no room for.
std::string NameOrOthers(schemas::Value row) {
  const std::string name = TextAt(row, "/source");
  return name == "-" ? "(further ones)" : name;
}

}  // namespace

std::vector<SilentSource> SilentSourcesOf(schemas::Value status) {
  std::vector<SilentSource> silent;
  const auto rows = status.Find("silent_sources");
  if (!rows || !rows->is_array()) return silent;
  for (const schemas::Value row : *rows) {
    silent.push_back({NameOrOthers(row), TextAt(row, "/last_event_at")});
  }
  return silent;
}

std::string SilenceWarning(const std::vector<SilentSource>& silent,
                           const std::function<std::string(Instant)>& time) {
  if (silent.empty()) return {};
  std::string words = "NOT COMPLETE: nothing has come ";
  for (const SilentSource& source : silent) {
    const auto since = ReadMoment(source.last_event_at);
    if (&source != &silent.front()) words += ", ";
    words += "from " + source.name + " since " + (since ? time(since->instant) : "?");
  }
  return words + "; what was done there since then is not known here";
}

std::string SilenceInWords(schemas::Value status) {
  std::string words;
  const auto rows = status.Find("silent_sources");
  if (rows && rows->is_array() && rows->size() != 0) {
    Table table({{"SILENT SOURCE", "", NameOrOthers},
                 {"LAST EVENT", "/last_event_at"},
                 {"EXPECTED WITHIN, MIN", "/expected_within_min"}});
    for (const schemas::Value row : *rows) table.Add(row);
    words = table.Print();
  }
  const std::string unknown = TextAt(status, "/sources_not_judged");
  if (unknown != "-" && unknown != "0") {
    words += "sources whose silence would not be noticed yet: " + unknown + "\n";
  }
  return words;
}

}  // namespace dwell::command
