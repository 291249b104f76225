// Codes of an event that neither our CodeSystem nor the maps know: they go out as our own code and
// words, and somebody should hear of it.
#pragma once

#include <string_view>
#include <vector>

#include "mapping/codes/codes.h"
#include "mapping/event/event.h"

namespace dwell::fhir {

/// Points into the event.
struct UnknownCode {
  std::string_view group;  ///< of our CodeSystem: "reason", "site", ...
  std::string_view code;
  friend bool operator==(const UnknownCode&, const UnknownCode&) = default;
};

/// Each once, in the order of the contract. Looks at those that the contract leaves to the sender;
/// those that it lists are all ours.
std::vector<UnknownCode> UnknownCodes(const event::Event& event, const codes::CodeMap& codes);

}  // namespace dwell::fhir
