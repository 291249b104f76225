// Plays a life of a line through the real reader, line, dues and makers.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/due/policy.h"
#include "mapping/explain/portrait.h"
#include "mapping/fhir/bundle.h"
#include "schemas/bundled.h"

namespace dwell::explain {

/// What everything is made with.
struct Running {
  const schemas::Bundled& schemas;
  const fhir::Context& context;  ///< with code maps and zone
  const due::Policy& policy;
};

/// Events as JSON text.
struct Life {
  std::vector<std::string> before;
  std::string event;  ///< the one that comes in; empty: none does
};

/// Every resource of the line as it stands after the event, made anew at `now`; empty (no value)
/// when an event is not legal or contradicts the others.
std::optional<std::vector<Portrait>> Play(const Life& life, const Running& running, Instant now);

/// The group of our CodeSystem in which the makers look up `code`, which no map knows, somewhere in
/// the event; empty when they do not, or when the event is not legal.
std::string GroupOfUnknown(const std::string& event, std::string_view code, const Running& running);

}  // namespace dwell::explain
