// The handover list of a ward: lines in place, and those removed whose site is still watched, the
// most urgent first; as text for a terminal or printer, and as a page of HTML. Pure.
//
// What nobody told is "no data": never left empty, never taken for zero.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "daemon/command/silence_words.h"
#include "daemon/command/ward_line.h"

namespace dwell::command {

struct Handover {
  std::string ward;  ///< empty: all wards
  std::string zone;  ///< that the times are written in
  Instant now{};
  /// Everything that fell due up to then has been looked at; empty: not known.
  std::optional<Instant> caught_up_to;
  std::vector<SilentSource> silent;  ///< sources that have not been heard for too long
  std::vector<WardLine> lines;       ///< sorted
  std::function<std::string(Instant)> local_time;  ///< for the eye, in `zone`
};

/// A line's row on the list, each cell in words.
struct HandoverRow {
  std::string place, patient, line, site, since, out_by, last_check, grade, next_check, concerns;
};
HandoverRow RowOf(const WardLine& line, const Handover& handover);
/// What about the line is more than routine, most pressing first; empty: nothing.
std::vector<std::string> ConcernsOf(const WardLine& line, const Handover& handover);

std::string HandoverText(const Handover& handover);
/// A whole document, nothing loaded from elsewhere; whatever the ward wrote is escaped.
std::string HandoverHtml(const Handover& handover);

/// "Mon 2 Mar 14:00" out of "2026-03-02T14:00:00+00:00", as due::Zone::Format() writes it.
std::string ForTheEye(std::string_view local);

}  // namespace dwell::command
