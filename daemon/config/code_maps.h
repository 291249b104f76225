// The code maps that a configuration asks for: the bundled edition and the site's own map.
#pragma once

#include "daemon/config/config.h"
#include "mapping/codes/codes.h"

namespace dwell::config {

/// Fails (kConfig) when the site's map cannot be read or is wrong: file and place.
Result<codes::CodeMap> LoadCodeMaps(const Config& config);

}  // namespace dwell::config
