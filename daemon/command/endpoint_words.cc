#include "daemon/command/endpoint_words.h"

#include "daemon/command/table.h"

namespace dwell::command {

std::string EndpointInWords(schemas::Value row) {
  std::string words = TextAt(row, "/endpoint");
  if (words == "-") return "endpoint";
  if (TextAt(row, "/endpoint_configured") == "no") words += " (no longer configured)";
  return words;
}

std::string ConfiguredInWords(schemas::Value row) {
  return TextAt(row, "/configured") == "yes" ? "yes" : "no: nothing is sent there";
}

}  // namespace dwell::command
