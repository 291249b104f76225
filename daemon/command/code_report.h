// Which codes go out in our own words: those of ours without a target in the running maps, and
// those of events that the maps do not know.
#pragma once

#include <string>

#include "mapping/codes/codes.h"
#include "schemas/json/document.h"

namespace dwell::command {

/// "31 of 230 codes of ours have no target ...", and a line for each of them if `verbose`.
std::string OwnCodesInWords(const codes::CodeMap& codes, bool verbose);

/// A table of `unknown_codes` of the daemon's status, or that there are none.
std::string UnknownCodesInWords(schemas::Value status);

/// The same, asked of the daemon behind the socket, or that nobody answers there.
std::string AskUnknownCodes(const std::string& socket);

}  // namespace dwell::command
