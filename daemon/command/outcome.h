// What became of a delivery, in the words of a listing. Pure.
#pragma once

#include <string>

#include "schemas/json/document.h"

namespace dwell::command {

/// Why `delivery` (one of the deliveries of an event's story) stands where it stands, and whether
/// what was sent is still kept. "-" when there is nothing to say.
std::string OutcomeInWords(schemas::Value delivery);

}  // namespace dwell::command
