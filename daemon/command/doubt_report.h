// Patient identifiers that failed a check digit which is not guaranteed: from which source, of
// which system, how often.
#pragma once

#include <string>

#include "schemas/json/document.h"

namespace dwell::command {

/// A table of `doubtful_identifiers` of the daemon's status; empty when there are none.
std::string DoubtfulIdentifiersInWords(schemas::Value status);

}  // namespace dwell::command
