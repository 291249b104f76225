// The part of the findings that is about resource types: whether ours may be written, and how
// patients and encounters may be named. Inside of findings.cc. Pure.
#pragma once

#include <vector>

#include "daemon/delivery/capability.h"
#include "daemon/delivery/findings.h"

namespace dwell::delivery {

/// What to do about something that only a person can find out.
inline constexpr const char* kAskThem = "ask who runs the endpoint, and try with one event";

/// Adds a finding for each type that we write; those with the same words share one.
void JudgeTypes(const Capability& capability, const Wants& wants, Identity identity,
                std::vector<Finding>& findings);

/// Adds findings on references among our own resources (only when something is against them), to
/// patients and to encounters.
void JudgeReferences(const Capability& capability, const Wants& wants, Interaction interaction,
                     std::vector<Finding>& findings);

}  // namespace dwell::delivery
