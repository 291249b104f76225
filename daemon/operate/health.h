// Whether the daemon is alive, and ready for events. Pure. An endpoint that is down changes
// neither: events are taken and kept for it.
#pragma once

#include <string>

#include "daemon/operate/facts.h"

namespace dwell::operate {

/// Which of the two questions is asked.
enum class Question : std::uint8_t {
  kLive,   ///< no thread is stuck; otherwise a restart is the remedy
  kReady,  ///< alive, not draining, and what comes can be stored
};

struct Health {
  bool is_well = false;
  std::string text;  ///< "alive", "not ready", ...; before that, if asked for, a line a check
};

Health Answer(Question question, const Facts& facts, bool verbose);

}  // namespace dwell::operate
