// Whether the head of a request is framed in a way that nobody can read differently. Pure: bytes
// in, verdict out. Beast's parser accepts more than we may (folded lines, two hosts, odd codings).
#pragma once

#include <cstddef>
#include <optional>
#include <string_view>

namespace dwell::intake {

/// A row of the gate's table that refused a head.
struct GateRefusal {
  std::string_view rule;  ///< name of the row, e.g. "transfer-encoding"
  int status;             ///< HTTP status to answer with; the connection is not used any further
  std::string_view expected;  ///< what would have been right, in words
};

/// What the reading of the body needs to know of an accepted head; views into its bytes.
struct GateHead {
  std::string_view method;
  std::string_view target;  ///< in origin form: "/events?x=y"
  std::string_view content_type;
  std::string_view accept;         ///< the last such field; empty: none
  bool continue_expected = false;  ///< the sender waits for "100 Continue" before the body
};

/// Length of the head including its blank line, as soon as `bytes` hold all of it. A line end
/// without carriage return also ends a line here, so that the gate can refuse it at once.
/// `from`: where to start looking (bytes seen before, less two).
std::optional<std::size_t> HeadSize(std::string_view bytes, std::size_t from = 0);

/// Judges a whole head (request line, fields, blank line). Empty: accepted, and `head` is filled.
/// Rules: RFC 9112 sections 2.2, 3, 5, 6 and RFC 9110 sections 7.2, 8.4, 10.1.1, each made strict.
/// `body_bytes_max`: a stated length beyond it is refused before anything is read.
std::optional<GateRefusal> JudgeHead(std::string_view bytes, std::size_t body_bytes_max,
                                     GateHead& head);

/// Equality of ASCII text without regard to case.
bool SameText(std::string_view left, std::string_view right);

}  // namespace dwell::intake
