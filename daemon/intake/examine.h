// Whether the bytes of one ward event are acceptable before its line is looked at. Pure.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "daemon/intake/outcome.h"
#include "mapping/event/event.h"
#include "schemas/bundled.h"

namespace dwell::intake {

/// Why an event is refused.
struct Refusal {
  int status = 400;  ///< 400 not JSON; 413 too large; 422 against the contract
  std::vector<Issue> issues;
};

/// Reads and checks one event: JSON, the contract of its kind, and what a schema cannot say.
/// Whether it lies in the future only the ledger can judge: an event that was stored before is the
/// same event also after the clock was set back.
std::variant<std::shared_ptr<const event::Event>, Refusal> Examine(std::string_view text,
                                                                   const schemas::Bundled& schemas);

}  // namespace dwell::intake
