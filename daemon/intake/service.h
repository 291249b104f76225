// What a listener serves: judges the head of a request, then answers the whole.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "daemon/intake/gate.h"
#include "daemon/intake/reply.h"

namespace dwell::intake {

/// What becomes of a request, as far as its head tells.
struct Plan {
  std::optional<Reply> refusal;  ///< then nothing else counts
  /// Takes the body; answers once, on any thread.
  std::function<void(std::string body, const Replies& done)> answer;
};

/// Used on the listener's thread; outlives its connections.
class Service {
 public:
  virtual ~Service() = default;
  /// `head` passed the gate; its views hold until this returns.
  virtual Plan Judge(const GateHead& head) = 0;
};

}  // namespace dwell::intake
