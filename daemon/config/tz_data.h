// The system's tz data, as it is at the moment of asking: it changes below a running program.
#pragma once

#include <string>

#include "mapping/due/policy.h"

namespace dwell::config {

/// A zone as its file now says, from the folder that the variable TZDIR names, or else from
/// /usr/share/zoneinfo (both as tzset(3) has it). `name`: one of the tz database, e.g.
/// "Europe/London". Errors: kConfig, with advice.
Result<due::Zone> LoadZone(const std::string& name);

/// The version of the tz data in that folder, e.g. "2026f": the first line of tzdata.zi, or the
/// file +VERSION (https://data.iana.org/time-zones/tz-link.html); "unknown" when neither says it.
std::string TzDataVersion();

}  // namespace dwell::config
