// What one delivery attempt means: (exchange, what was sent) -> done, again, held or pause. One
// table, pure: no clock, no chance. An uncertain attempt is never a failed one: the same bytes go
// again, and the identity of the resources in them makes the repeat harmless.
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>

#include "daemon/delivery/bundle_shape.h"
#include "daemon/net/exchange.h"
#include "mapping/event/moment.h"

namespace dwell::delivery {

enum class Course : std::uint8_t {
  kDone,   ///< the endpoint holds it: status, content type and shape agree
  kAgain,  ///< try this bundle again later
  kHold,   ///< refused: its lane stops until a person decides
  kPause,  ///< nothing is wrong with the bundle: the endpoint takes nothing from us at present
  kWait,   ///< the endpoint is well but does not yet know what the bundle names: look again later
};

struct Verdict {
  Course course = Course::kDone;
  bool uncertain = false;  ///< the endpoint may hold it although we cannot tell
  bool untouched = false;  ///< for kPause: the peer saw nothing of the bundle
  bool pauses = false;     ///< all deliveries must wait, not only this one
  /// For kWait: nothing is said of this bundle. It was refused in the company of others and goes
  /// again at once, alone; or, when it is `too_large`, in smaller requests.
  bool apart = false;
  bool too_large = false;  ///< the request was beyond a limit of the endpoint; see Shrink()
  /// HTTP status that decided it, of the answer or of an entry; 0: none. 401 also where another
  /// status brings an OperationOutcome that asks for a login.
  int status = 0;
  std::optional<std::chrono::seconds> retry_after;  ///< how long the endpoint asks us to wait
  std::string why;  ///< in words; holds nothing that the peer wrote, which may be personal
  std::string
      outcome;  ///< for kHold: OperationOutcome, cut to limits::kOutcomeBytesMax, or an excerpt
};

struct Sent {
  std::size_t entries = 0;           ///< of the transaction
  std::uint32_t attempts = 0;        ///< counted ones before this
  std::chrono::milliseconds age{0};  ///< since the bundle was made
};

/// Of a bundle sent alone as a transaction. `now` is only for reading a Retry-After date of a peer
/// that sends no Date.
Verdict Judge(const net::Exchange& exchange, const Sent& sent, Instant now);

/// Of one resource of the type, sent by an interaction of its own.
Verdict JudgeSingle(const net::Exchange& exchange, std::string_view type, const Sent& sent,
                    Instant now);

/// Of a request with `sent.entries` entries that is to be answered by `shape`, as a whole: kDone
/// when `answer`, read from it by ReadAnswerOf(), tells of each entry, whatever it tells.
Verdict JudgeWhole(const net::Exchange& exchange, const Answered& answer, Answered::Shape shape,
                   const Sent& sent, Instant now);
/// What a 200 that says it is JSON answers; the shape is kNotJson otherwise.
Answered ReadAnswerOf(const net::Exchange& exchange);

/// Of an entry that was not taken, in an answer that tells of each.
Verdict JudgeEntry(const BadEntry& entry, const Sent& sent);

/// Which of two verdicts about parts of one bundle is that of the bundle: true when `a` is worse.
bool IsWorse(const Verdict& a, const Verdict& b);

/// Whether a Content-Type says FHIR's JSON, or just JSON, as some servers do.
bool IsJson(std::string_view content_type);

/// At most `bytes_max` bytes of `text`, cut between characters (UTF-8), control characters as
/// blanks.
std::string Excerpt(std::string_view text, std::size_t bytes_max);

}  // namespace dwell::delivery
