// Where one JSON document says something else than another. Pure.
#pragma once

#include <functional>
#include <string_view>
#include <vector>

#include "daemon/ledger/ledger.h"
#include "schemas/json/document.h"

namespace dwell::ledger {

/// Whether a place (JSON Pointer) is to be passed over, with all below it.
using Ignored = std::function<bool(std::string_view pointer)>;

/// The places in which the two differ, in document order of `before`, then what only `after` has;
/// members are paired by name whatever their order, elements by index. Numbers are compared by
/// their texts: 2.50 is not 2.5.
std::vector<Change> Differences(schemas::Value before, schemas::Value after,
                                const Ignored& ignored);

}  // namespace dwell::ledger
