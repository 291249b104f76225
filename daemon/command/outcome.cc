#include "daemon/command/outcome.h"

#include "daemon/command/table.h"

namespace dwell::command {

std::string OutcomeInWords(schemas::Value delivery) {
  std::string why = TextAt(delivery, "/why");
  if (TextAt(delivery, "/kept") != "no") return why;
  const bool arrived = TextAt(delivery, "/state") == "completed";
  const std::string words = (arrived ? "delivered on " : "cancelled on ") +
                            TextAt(delivery, "/settled_at") + ", no longer kept";
  return why == "-" ? words : words + "; " + why;
}

}  // namespace dwell::command
