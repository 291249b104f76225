// What every simulated house works by: schemas, codes, zone and a policy, loaded once.
#pragma once

#include <string>

#include "daemon/ledger/ledger.h"

namespace dwell::sim {

/// With the limit of waiting deliveries that Records knows.
ledger::Rules RulesOfTheHouse();

/// A new, empty store file, made once as the daemon makes it.
const std::string& EmptyStore();

}  // namespace dwell::sim
