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
/// "all":true. With "send":true also who and why, as for other decisions (orders.h).
Result<ledger::RemapOrder, std::string> ReadRemapOrder(schemas::Value request);

/// What was told so far, over all pages.
struct RemapSums {
  std::size_t looked_at = 0, chosen = 0, differ = 0, same = 0, sent = 0, troubles = 0, behind = 0,
              not_kept = 0;
  std::map<std::string, std::size_t> by_type;  ///< resources that differ

  void Add(const ledger::RemapPage& page);
};

/// How far the lines are that follow rules that changed, see app/following.h.
struct Followed {
  bool over = true;
  RemapSums sums;
  std::uint64_t of = 0;   ///< all lines there are
  std::string waits_for;  ///< why it pauses, in words; empty: it does not
};

/// {"looked_at","of"} and, while it pauses, "waits_for"; once it is over the sums instead.
std::string FollowedRow(const Followed& followed);

/// One JSON object with its line end for each line of the page, then {"looked_at","of"}.
///   source, line_id, ward, resources [{resource, role, state ("differs", "not-kept", "given-up",
///   "new"), changes [{at, before, after}]}], same, waiting, on_hold, delivery, trouble.
std::string RemapPageRows(const ledger::RemapPage& page, const RemapSums& so_far);

/// {"sums":{lines, differ, same, sent, troubles, behind_on_hold, no_longer_kept, types {...}}}
std::string RemapSumsRow(const RemapSums& sums);

}  // namespace dwell::admin
