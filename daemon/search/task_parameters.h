// The parameters by which Tasks are searched for: one table of names, what FHIR calls them, and
// what a Task has for each. Pure.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/json/document.h"

namespace dwell::search {

/// System and code, or system and value, of each that a Task has.
using Given = std::vector<std::pair<std::string, std::string>>;

struct Parameter {
  std::string_view asked;               ///< as it stands in a query, with its modifier
  Given (*given)(schemas::Value task);  ///< null: the date of DueAt()
  // For the CapabilityStatement.
  std::string_view name, type;
  std::string_view definition;  ///< canonical URL; empty: our own
  std::string_view documentation;
};

/// Names, types and definitions: R4 task.html#search and searchparameter-registry.html; R5 the
/// same.
std::span<const Parameter> Parameters();

/// The end of the window in which it is to be done; R5 keeps it elsewhere.
std::optional<Instant> DueAt(schemas::Value task);

}  // namespace dwell::search
