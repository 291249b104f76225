// The answers of a search: a Bundle of type searchset, and the CapabilityStatement. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/tasks.h"
#include "daemon/search/task_query.h"
#include "mapping/event/moment.h"
#include "schemas/release.h"

namespace dwell::search {

/// A page of the answer as it grows: Tasks that fit, up to the query's count, and what is not
/// known.
class Searchset {
 public:
  explicit Searchset(const TaskQuery& query) : query_(query), next_(query.place) {}

  /// Takes the next page of lines.
  void Take(const ledger::TaskPage& page);
  /// Where to go on: with the next page of lines, or, when the page is full, with the next request.
  const Place& next() const { return next_; }
  bool is_full() const { return tasks_.size() >= query_.count; }

  /// `more`: there may be more behind next(). R4 bundle.html#searchset. Every Task is made as it
  /// is now, and its lastModified says so.
  std::string Finish(bool more) const;

 private:
  struct Match {
    std::string id, json;
  };
  bool TakeLine(const ledger::TaskPage::Line& line);
  std::vector<Match> FittingOf(const ledger::TaskPage::Line& line) const;

  const TaskQuery& query_;
  Place next_;
  std::vector<Match> tasks_;
  std::vector<std::string> troubles_;  ///< in words
};

/// What the listener can do (R4 capabilitystatement.html).
std::string CapabilityStatement(FhirRelease release, std::string_view version, Instant now);

/// Where the search is, on the listener.
inline constexpr std::string_view kTaskPath = "/fhir/Task";
inline constexpr std::string_view kMetadataPath = "/fhir/metadata";

}  // namespace dwell::search
