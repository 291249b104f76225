// The life of one line: which events may follow which, and what is true of it now.
// Always derived from the whole list of its events, so that late, out-of-order, corrected and
// retracted ones need no rules of their own.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "mapping/event/event.h"

namespace dwell::line {

/// Identity of a line: unique within its source.
struct Key {
  std::string source;
  std::string line_id;
  friend bool operator==(const Key&, const Key&) = default;
  friend auto operator<=>(const Key&, const Key&) = default;
};

/// What became of one event of the line.
enum class Standing : std::uint8_t {
  kInForce,    ///< counts
  kReplaced,   ///< a later event says `replaces` this one; that one counts in its place
  kRetracted,  ///< entered in error
};

/// One event in the line's history.
struct Entry {
  std::shared_ptr<const event::Event> event;
  Standing standing = Standing::kInForce;
  /// Id of the first event of its chain of replacements: the identity of the resources made from
  /// it. A chain whose beginning has not come goes by the earliest id that is named in it.
  std::string root_id;
  /// Id of the retraction or of the replacing event that took it out of force; or empty.
  std::string undone_by;
};

/// Where the line is in its life.
enum class Phase : std::uint8_t {
  kUnknown,    ///< events have come, but no placed insertion is in force
  kNotPlaced,  ///< only failed, declined or not-attempted insertions
  kInPlace,
  kRemoved,
};

/// A line as its events tell it. Pure data; made only by Derive().
struct Line {
  Key key;
  event::Patient patient;
  std::vector<Entry> entries;  ///< by happened, then recorded, then id; retractions included
  Phase phase = Phase::kUnknown;

  /// The entry in force that placed / removed the line, or null. Pointers into `entries`.
  const Entry* insertion() const;
  const Entry* removal() const;
  const Entry* Find(std::string_view event_id) const;
  /// Ward of the newest event in force that is not a retraction; the policy and the rounds go by
  /// it.
  const event::Place& place() const;
  /// Whether all that was told of it was taken back. Not so of a retraction whose target has not
  /// come: nobody knows what else there is.
  bool is_taken_back() const;

  int insertion_index = -1;  ///< into `entries`, -1 when there is none; likewise below
  int removal_index = -1;
  int place_index = 0;
};

/// Why an event cannot be part of this line's life. `rule` is the name of a row of the table in
/// rules.cc: "replaces-in-a-circle", "replaces-other-kind", "replaced-twice",
/// "retracts-a-retraction", "already-retracted", "replaces-retracted", "retracts-replaced",
/// "second-insertion", "second-removal", "before-insertion", "after-removal", "other-patient"; or
/// "other-line", which whoever keeps all lines finds, see targets.h.
struct Contradiction {
  std::string pointer;  ///< JSON Pointer into the offending event, see `event_id`
  std::string rule;
  std::string expected;  ///< in words; names other events by id only
  /// The event that breaks the rule. Not always the one that came last: a late insertion may be
  /// right in itself and make an earlier received check wrong.
  std::string event_id;
};

/// The line with `events` (any order, each id once; at least one), or why they contradict each
/// other. The answer depends on the set of events only, not on the order in which they came.
/// `watch` is the time after removal in which a site check is still legal. A replacement or
/// retraction whose target has not come yet waits for it. Retracting the newest version of an event
/// retracts all of it: the versions it replaced do not come back. Source of the rules: the rules
/// between events of the contract, version 1; each is one row in rules.cc.
Result<Line, Contradiction> Derive(const Key& key,
                                   std::vector<std::shared_ptr<const event::Event>> events,
                                   std::chrono::minutes watch);

}  // namespace dwell::line
