// The rules between the events of a line, as one table.
#pragma once

#include <optional>

#include "mapping/line/history.h"

namespace dwell::line {

/// The entry by which the patient of the line is known: the insertion, else the first event in
/// force.
const event::Patient& PatientOf(const History& history);

/// The first rule that the history breaks, in the order of the table; empty when it breaks none.
std::optional<Contradiction> FindContradiction(const History& history);

}  // namespace dwell::line
