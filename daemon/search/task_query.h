// A search for Tasks as FHIR has it (R4 search.html): read from the query of a URL, and tried on a
// Task. Pure. What is not understood is refused, never passed over: a condition that is left out
// would show what was not asked for, or hide nothing where something was to be hidden.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/moment.h"
#include "schemas/base/result.h"
#include "schemas/json/document.h"

namespace dwell::search {

/// A token of a search (R4 search.html#token).
struct Token {
  std::optional<std::string> system;  ///< empty: whatever it is; "": there must be none
  std::string code;                   ///< "": whatever it is
};

/// A date of a search (R4 search.html#date); an instant, so a prefix is all there is.
struct Bound {
  enum class Prefix : std::uint8_t { kEqual, kBefore, kUntil, kAfter, kFrom };
  Prefix prefix = Prefix::kEqual;
  Instant at{};
};

/// One parameter as it stood in the query: a Task must fit one of the values.
struct Condition {
  std::size_t parameter = 0;  ///< row of Parameters()
  std::vector<Token> tokens;
  std::vector<Bound> bounds;  ///< instead, of a date
};

/// Where a page begins: a line, and how many of its Tasks that fit have been told.
struct Place {
  std::int64_t line_seq = 0;  ///< the first line of the page; 0: the first there is
  std::size_t told = 0;
};

struct TaskQuery {
  static constexpr std::size_t kCountUsual = 100, kCountMax = 1000;

  std::vector<Condition> conditions;  ///< all must hold
  std::size_t count = kCountUsual;    ///< at most so many Tasks on a page
  Place place;
  std::string asked;  ///< the query without its place, for links

  /// Whether every Task that fits is still to be done (status "requested" or "ready").
  bool open_only = false;
};

/// What of a query cannot be answered.
struct BadQuery {
  std::string parameter;
  std::string expected;
};

Result<TaskQuery, BadQuery> ReadTaskQuery(std::string_view query);

bool Fits(const TaskQuery& query, schemas::Value task);

/// The query that asks for the page that begins at `place`.
std::string QueryOfPage(const TaskQuery& query, const Place& place);

}  // namespace dwell::search
