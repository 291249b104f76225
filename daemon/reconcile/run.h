// One reconciliation on its way, as plain data: what is ordered, what is still to be read, what was
// found.
#pragma once

#include <deque>
#include <map>
#include <string>
#include <vector>

#include "daemon/reconcile/findings.h"

namespace dwell::reconcile {

struct Order {
  std::string endpoint = "main";  ///< its name
  ledger::AcceptedOrder accepted;
  bool send = false;       ///< what is missing or differs goes out again
  bool overwrite = false;  ///< with `send`: also what somebody else changed since
  std::string by, why;     ///< for `send`; checked by whoever asks (admin/orders.h)

  /// Whether it is about every line there is.
  bool is_whole() const {
    return accepted.source.empty() && accepted.line_id.empty() && accepted.ward.empty();
  }
};

/// What goes out again of one line.
struct Sent {
  line::Key key;
  std::vector<std::int64_t> bundle_seqs;
  std::size_t resources = 0, left_out = 0;  ///< see ledger::AgainDone
};

/// A line that could not be looked at.
struct Trouble {
  line::Key key;
  std::string why;
};

/// What came of a few seconds' work.
struct Step {
  std::vector<Finding> findings;
  std::vector<Sent> sent;
  std::vector<Trouble> troubles;
  Tally tally;          ///< of the whole run so far
  std::string waiting;  ///< why nothing goes on at present, in words; it is tried again
  std::string refusal;  ///< why the run is over although it is not through; or empty
  bool done = false;
};

/// What of a line is to go out: again, or what its endpoint never got.
struct ToSend {
  line::Key key;
  std::vector<ledger::AgainOne> resources;
};

/// What became of reads of one type.
struct TypeRead {
  std::size_t answered = 0, forbidden = 0;
};

struct Run {
  explicit Run(Order wanted) : order(std::move(wanted)) {}

  Order order;
  Instant began{};
  bool more = true;                        ///< pages of lines
  std::deque<Item> items;                  ///< of the page, still to be read
  std::map<std::int64_t, ToSend> to_send;  ///< of the page, by line
  std::map<std::string, TypeRead> types;
  Tally tally;
};

}  // namespace dwell::reconcile
