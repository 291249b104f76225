// Which metrics there are: facts -> families. Pure; one table of what is measured.
#pragma once

#include <vector>

#include "daemon/operate/exposition.h"
#include "daemon/operate/facts.h"

namespace dwell::operate {

/// All families, in the order in which they are told. Those of the store have no samples when its
/// thread did not answer.
std::vector<Family> FamiliesOf(const Facts& facts);

}  // namespace dwell::operate
