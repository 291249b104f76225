// What a listing shows of a line without deriving it again.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/store/store.h"
#include "mapping/due/due.h"
#include "mapping/line/line.h"

namespace dwell::ledger {

/// One JSON object, for `dwell lines`. For operators' eyes, never for logs: it holds the patient's
/// identifier.
///   source, line_id, patient {system, value}, phase ("unknown", "not-placed", "in-place",
///   "removed"), kind (or null), ward, bay, bed, site {place, side} (or null), since (instant of
///   the insertion, or null), removed_at (or null), last_check (instant, or null), last_grade
///   (integer as staff entered it, or null: not known, never 0), dues [{rule, stage, due_at}] with
///   what is still open, in order of due_at.
std::string LineSummary(const line::Line& line, const std::vector<due::Due>& dues);

/// The ward in such a summary; empty when it has none.
std::string WardIn(std::string_view summary);

/// Whether a line is of the source, has the id and is on the ward that are given; what is empty is
/// not asked for.
bool IsMeant(const store::LineRecord& line, std::string_view source, std::string_view line_id,
             std::string_view ward);

/// Whether the line may be in place, or time may change something of it. One whose phase nobody can
/// read may.
bool MayGoOn(const store::LineRecord& line);

/// Whether a summary has anything that is still to be done; true when it cannot be read.
bool HasDues(std::string_view summary);

}  // namespace dwell::ledger
