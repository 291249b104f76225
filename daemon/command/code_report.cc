#include "daemon/command/code_report.h"

#include "daemon/command/admin_client.h"
#include "daemon/command/table.h"

namespace dwell::command {
namespace {

/// The row without a code counts those there was no room for.
std::string CodeOrOthers(schemas::Value row) {
  const std::string code = TextAt(row, "/code");
  return code == "-" ? "(further ones)" : code;
}

}  // namespace

std::string OwnCodesInWords(const codes::CodeMap& codes, bool verbose) {
  const auto all = codes.OwnCodes();
  std::size_t count = 0;
  std::string list;
  for (const codes::OwnCode& own : all) {
    if (own.what->mapped) continue;
    ++count;
    list.append("  ").append(own.group).append(" ").append(own.code);
    list.append(": ").append(own.what->text).append("\n");
  }
  std::string words = std::to_string(count) + " of our " + std::to_string(all.size());
  words += " codes have no target in these maps and go out as our own code and words";
  if (!verbose) return words + " (--verbose lists them)\n";
  return words + "\n" + list;
}

std::string UnknownCodesInWords(schemas::Value status) {
  const auto codes = status.Find("unknown_codes");
  if (!codes || !codes->is_array()) return "unknown codes: this daemon does not count them\n";
  if (codes->size() == 0) return "unknown codes: none seen in events\n";
  Table table({{"GROUP", "/group"},
               {"UNKNOWN CODE", "", CodeOrOthers},
               {"EVENTS", "/events"},
               {"FIRST SEEN", "/first_seen"},
               {"LAST SEEN", "/last_seen"}});
  for (const schemas::Value code : *codes) table.Add(code);
  return table.Print();
}

std::string AskUnknownCodes(const std::string& socket) {
  std::string words;
  const auto asked = AskDaemon(socket, R"({"request":"status"})", [&words](std::string_view row) {
    const auto status = schemas::Document::Parse(row);
    if (status) words = UnknownCodesInWords(status->root());
  });
  if (asked) return words;
  return "unknown codes in events: not asked, no daemon answers on " + socket + "\n";
}

}  // namespace dwell::command
