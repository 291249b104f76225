// The endpoint as the configuration has it: (configuration) -> how to reach it, what to ask of it.
// Pure.
#pragma once

#include "daemon/config/config.h"
#include "daemon/delivery/delivery.h"
#include "daemon/delivery/findings.h"
#include "daemon/delivery/write_style.h"

namespace dwell::delivery {

/// `config` was checked when it was read.
/// `from` is one of its endpoints.
Endpoint EndpointOf(const config::Config& config, const config::Config::Endpoint& from);
Wants WantsOf(const config::Config& config, const config::Config::Endpoint& from);
Pins PinsOf(const config::Config::Endpoint& from);

}  // namespace dwell::delivery
