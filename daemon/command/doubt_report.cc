#include "daemon/command/doubt_report.h"

#include "daemon/command/table.h"

namespace dwell::command {
namespace {

/// The row without a system counts those there was no room for.
std::string SystemOrOthers(schemas::Value row) {
  const std::string system = TextAt(row, "/system");
  return system == "-" ? "(further ones)" : system;
}

}  // namespace

std::string DoubtfulIdentifiersInWords(schemas::Value status) {
  const auto rows = status.Find("doubtful_identifiers");
  if (!rows || !rows->is_array() || rows->size() == 0) return {};
  Table table({{"SOURCE", "/source"},
               {"DOUBTFUL PATIENT IDENTIFIERS OF", "", SystemOrOthers},
               {"EVENTS", "/events"},
               {"FIRST SEEN", "/first_seen"},
               {"LAST SEEN", "/last_seen"}});
  for (const schemas::Value row : *rows) table.Add(row);
  return table.Print();
}

}  // namespace dwell::command
