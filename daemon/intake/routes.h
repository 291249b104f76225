// Which request does what: method, path and content type -> an action. Pure.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "daemon/intake/gate.h"
#include "daemon/intake/reply.h"

namespace dwell::intake {

enum class Action : std::uint8_t { kSubmitOne, kSubmitBatch, kShow, kLive, kReady };

/// What a request asks for.
struct Route {
  Action action = Action::kLive;
  std::string source, id;        ///< for kShow, decoded
  std::optional<Reply> refusal;  ///< instead: 400, 404, 405 or 415
};

/// Judges an accepted head. HEAD counts as GET.
Route FindRoute(const GateHead& head);

}  // namespace dwell::intake
