// What a request to the listener of operations asks for. Pure.
#pragma once

#include <optional>

#include "daemon/intake/gate.h"
#include "daemon/intake/reply.h"
#include "daemon/operate/exposition.h"

namespace dwell::operate {

struct Inquiry {
  enum class What : std::uint8_t { kLive, kReady, kMetrics };
  What what = What::kLive;
  bool verbose = false;                              ///< of the first two: a line for each check
  Exposition exposition = Exposition::kOpenMetrics;  ///< of the last
  std::optional<intake::Reply> refusal;              ///< instead: 404 or 405
};

/// Judges an accepted head. HEAD counts as GET.
Inquiry ReadInquiry(const intake::GateHead& head);

}  // namespace dwell::operate
