// How the listings name an endpoint, and whether it is still configured. Pure.
#pragma once

#include <string>

#include "schemas/json/document.h"

namespace dwell::command {

/// Where a delivery goes; "endpoint" where there is only one.
std::string EndpointInWords(schemas::Value row);

/// Of a row of the status: whether anything is still sent there.
std::string ConfiguredInWords(schemas::Value row);

}  // namespace dwell::command
