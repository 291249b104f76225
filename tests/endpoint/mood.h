// How the practice endpoint misbehaves, and for how long.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace practice {

struct Mood {
  enum class Kind {
    kNone,              ///< behave
    kRefuse,            ///< 422 with OperationOutcome
    kStatus,            ///< `status`, nothing done
    kResetBefore,       ///< reset the connection, nothing done
    kResetAfterCommit,  ///< do it, then reset instead of answering
    kStall,             ///< nothing done, never answer
    kStallAfterCommit,  ///< do it, never answer
    kDrip,              ///< do it, answer byte by byte
    kGarbage,           ///< nothing done, bytes that are not HTTP
    kHtml200,           ///< nothing done, 200 with a web page
    kEmpty200,          ///< nothing done, 200 without a body
    kTruncate,          ///< do it, close in the middle of the answer
  };
  Kind kind = Kind::kNone;
  long next = 0;           ///< requests that it still holds for; negative: all
  std::string containing;  ///< only requests whose body or target has this text; empty: any
  int status = 503;
  std::string retry_after;  ///< as it is, or "date:N" for an HTTP date N seconds ahead
  std::string location;
  bool outcome = false;  ///< with kStatus: an OperationOutcome instead of a web page
};

/// How searches are answered.
enum class Searching {
  kHonest,
  kIgnores,    ///< the parameter is ignored, as R4 allows: everything of the type is a match
  kMiscounts,  ///< the total is one more than the matches
};

/// What GET metadata gives.
enum class Telling {
  kHonest,
  kMissing,        ///< 404
  kGarbage,        ///< half of the statement
  kWebPage,        ///< 200 with a web page
  kR5,             ///< that it is FHIR 5.0.0
  kNoTransaction,  ///< that it takes batches only
  kOwnIds,         ///< that it chooses ids itself, and has no Task
};

/// Lasting properties.
struct Manners {
  std::size_t entries_max = 0;  ///< of a bundle; 0: no limit. More is 413
  std::size_t bytes_max = 0;    ///< of a body; 0: no limit. More is 413
  bool referential = false;     ///< refuse references to what does not exist
  int latency_ms = 0;           ///< between doing and answering
  Searching searching = Searching::kHonest;
  Telling telling = Telling::kHonest;
};

/// Reads {"mood": "status", "next": 3, "status": 503, "retry_after": "3", "outcome": true,
/// "containing": "...", "limit_entries": 10, "limit_bytes": 9999, "referential": true,
/// "latency_ms": 5, "searching": "ignores", "telling": "r5"}; absent members leave `manners` as
/// they are. False when it cannot be read.
bool ReadMood(std::string_view json, Mood& mood, Manners& manners);

}  // namespace practice
