// Deriving lines again, on the admin socket: the order read from a request, and what is told. Pure.
#pragma once

#include <cstdint>
#include <map>
#include <string>

#include "daemon/ledger/ledger.h"
#include "schemas/json/document.h"

namespace dwell::admin {

/// The order in a "remap" request, or what is wrong with it, in words for a person. Some lines must
/// be meant: by "source", "line_id" or "ward" (a line is taken that fits all that are given), or
/// "all":true; with "open":true of those only the ones that are not over. With "send":true also who
/// and why, as for other decisions (orders.h).
Result<ledger::RemapOrder, std::string> ReadRemapOrder(schemas::Value request);

/// What was told so far, over all pages.
struct RemapSums {
  std::size_t looked_at = 0, chosen = 0, differ = 0, same = 0, sent = 0, troubles = 0, behind = 0,
              not_kept = 0;
  std::map<std::string, std::size_t> by_type;  ///< resources that differ

  void Add(const ledger::RemapPage& page);
};

/// One JSON object with its line end for each line of the page, then {"looked_at","of"}.
///   source, line_id, ward, resources [{resource, role, state ("differs", "not-kept", "given-up",
///   "new"), changes [{at, before, after}]}], same, waiting, on_hold, delivery, trouble.
std::string RemapPageRows(const ledger::RemapPage& page, const RemapSums& so_far);

/// {"sums":{lines, differ, same, sent, troubles, behind_on_hold, no_longer_kept, types {...}}}
std::string RemapSumsRow(const RemapSums& sums);

}  // namespace dwell::admin
