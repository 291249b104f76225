// What an endpoint said yes to: for reading it back, and for sending it again.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "mapping/event/moment.h"
#include "mapping/line/line.h"

namespace dwell::ledger {

/// Which lines and which time are meant.
struct AcceptedOrder {
  std::int64_t endpoint = 0;  ///< whose; see store::Store::EndpointNumber()
  /// Also what the endpoint never got of what another one did in that time; costs more reading.
  bool never_sent = false;
  std::string source, line_id, ward;  ///< those of the line; empty: whatever they are
  Instant since{};                    ///< accepted then or later ...
  Instant until = Instant::max();     ///< ... and then or before
  std::int64_t after = 0;             ///< only lines with a higher seq
};

/// A resource of ours that the endpoint accepted in that time, as it was last accepted.
struct Accepted {
  std::string type, id;
  std::string json;             ///< as it was in the stored bundle, searches and all
  std::int64_t bundle_seq = 0;  ///< the delivery that carried it
  Instant at{};                 ///< when that was settled
};

/// A resource to be sent.
struct AgainOne {
  std::string name;             ///< "Type/id"
  std::int64_t bundle_seq = 0;  ///< Accepted::bundle_seq
  /// The endpoint never got it; the bundle is another one's.
  bool is_first = false;
};

struct AcceptedLine {
  std::int64_t line_seq = 0;
  line::Key key;
  std::string ward;
  std::vector<Accepted> resources;
  std::vector<AgainOne> never_sent;  ///< when they were asked for
  std::size_t on_its_way = 0;  ///< resources that a delivery which is still open writes anyhow
  std::size_t given_up = 0;    ///< resources that count as not issued (see ForgetIssued())
  /// Deliveries of that time whose bodies are no longer stored, or whose line is no longer kept.
  std::size_t not_kept = 0;
  std::string trouble;  ///< why a stored delivery could not be read; or empty
};

struct AcceptedPage {
  std::vector<AcceptedLine> lines;  ///< those of which there is something to tell
  std::size_t looked_at = 0;        ///< lines, also those that the order is not about
  std::uint64_t of = 0;             ///< all lines there are
  std::int64_t after = 0;           ///< where the next page starts
  bool more = false;
};

/// What is to be sent again of one line.
struct AgainLine {
  std::int64_t line_seq = 0;
  std::vector<AgainOne> resources;
};

struct AgainOrder {
  std::int64_t endpoint = 0;  ///< where to
  std::vector<AgainLine> lines;
  std::string by, why;  ///< checked by whoever asks (admin/orders.h)
};

struct AgainDone {
  struct Line {
    std::int64_t line_seq = 0;
    std::vector<std::int64_t> bundle_seqs;  ///< of the deliveries made
    std::size_t resources = 0;              ///< in them
    std::size_t left_out = 0;               ///< what was no longer the last word
  };
  std::vector<Line> lines;
  std::string refusal;  ///< why it stopped: no room for more deliveries; empty: it did not
};

}  // namespace dwell::ledger
