// The part of the findings that is about how we write: the style that would be chosen, and what in
// the statement is against it. Inside of findings.cc. Pure.
#pragma once

#include <vector>

#include "daemon/delivery/capability.h"
#include "daemon/delivery/findings.h"

namespace dwell::delivery {

/// Adds a finding on the interaction, one on the identity unless it is the usual one and nothing is
/// against it, one on what may share a request when more than one bundle may, and one where our
/// profiles are named and cannot be kept.
void JudgeStyle(const Capability& capability, const Wants& wants, const WriteStyle& style,
                std::vector<Finding>& findings);

}  // namespace dwell::delivery
