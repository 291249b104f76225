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
                           ///< but those for the statement
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

/// Which of R4's ways to write several resources it has.
enum class Taking {
  kTransactions,  ///< and batches, and single interactions
  kBatches,       ///< and single interactions
  kSingles,
};

/// Lasting properties. Its statement tells the truth about them, unless told otherwise.
struct Manners {
  Taking taking = Taking::kTransactions;
  bool own_ids = false;          ///< it chooses ids itself: 405 for an update that would create
  bool limits_in_words = false;  ///< too much is 400 with an OperationOutcome's code, not 413

  std::size_t entries_max = 0;  ///< of a bundle; 0: no limit. More is 413
  std::size_t bytes_max = 0;    ///< of a body; 0: no limit. More is 413
  bool referential = false;     ///< refuse references to what does not exist
  bool resolving = false;       ///< resolve conditional references in transactions, or refuse them
  int latency_ms = 0;           ///< between doing and answering
  Searching searching = Searching::kHonest;
  Telling telling = Telling::kHonest;
};

/// Reads {"mood": "status", "next": 3, "status": 503, "retry_after": "3", "outcome": true,
/// "containing": "...", "limit_entries": 10, "limit_bytes": 9999, "referential": true,
/// "latency_ms": 5, "searching": "ignores", "telling": "r5", "taking": "batches", "own_ids": true,
/// "limits_in_words": true, "resolving": true}; absent members leave `manners` as
/// they are. False when it cannot be read.
bool ReadMood(std::string_view json, Mood& mood, Manners& manners);

}  // namespace practice
