// Lives of a line that show every member of the event contract: files of examples/, one for each
// kind of event, and common.json with what these have alike.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "mapping/due/policy.h"

namespace dwell::explain {

struct Example {
  std::string about;                ///< what this one shows
  std::vector<std::string> before;  ///< events that came before, as JSON text
  std::string event;                ///< the event to explain, as JSON text
};

/// All examples of that kind of event. `kind` must be one of the contract.
std::vector<Example> ExamplesOf(std::string_view kind);

/// The policy that goes with them.
due::Policy ExamplePolicy();

}  // namespace dwell::explain
