#include "daemon/command/dues.h"

#include "daemon/command/table.h"

namespace dwell::command {

std::string DuesInWords(schemas::Value line) {
  if (TextAt(line, "/phase") == "unreadable") return "not known: its stored events cannot be read";
  const auto dues = line.Find("dues");
  if (!dues || !dues->is_array()) return "-";
  std::string words;
  const auto add = [&words](schemas::Value due, std::string_view stage) {
    if (!words.empty()) words += ", ";
    words += TextAt(due, "/rule") + " " + std::string(stage) + " " + TextAt(due, "/due_at");
  };
  for (const std::string_view stage : {"overdue", "due", "due-soon"}) {
    for (const schemas::Value due : *dues) {
      if (TextAt(due, "/stage") == stage) add(due, stage);
    }
  }
  if (words.empty() && dues->first()) add(*dues->first(), "by");
  return words.empty() ? "-" : words;
}

}  // namespace dwell::command
