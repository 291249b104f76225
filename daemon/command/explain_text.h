// The rows of `dwell explain` as text: for a person, and for programs. Pure.
#pragma once

#include <string>
#include <vector>

#include "mapping/explain/explain.h"

namespace dwell::command {

/// One JSON object a line: field, resource, role, element, code (list of codings {system, code,
/// display}: what the element is recorded as), values (list of {value, text, coding, own_only}),
/// narrative, why; only what there is. A field that goes into no resource has a why instead of a
/// resource.
std::string ExplainedAsJson(const std::vector<explain::Row>& rows);

/// For a person, at most 100 columns wide unless a single word is wider: under each field a line
/// for each element, with its resources, and under those what the values become. Elements of the
/// same name share a line; where they are of more than three resources, these are named by type
/// alone.
std::string ExplainedAsText(const std::vector<explain::Row>& rows);

}  // namespace dwell::command
