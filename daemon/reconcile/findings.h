// What reading back found, and how much of it. Pure.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "daemon/ledger/accepted.h"
#include "daemon/reconcile/comparing.h"
#include "daemon/reconcile/read_back.h"

namespace dwell::reconcile {

/// The worst first.
enum class Grade : std::uint8_t {
  kWrongPatient,  ///< it names somebody else than the patient that was sent
  kDoubled,       ///< the endpoint holds it more than once
  kMissing,       ///< the endpoint does not hold it
  kDiffers,       ///< it says something else
  kUnreadable,    ///< the endpoint would not, or could not, say
  kForbidden,     ///< we may not read this type; told once for the type, without an id
};
/// "wrong-patient", "doubled", "missing", "differs", "unreadable", "forbidden".
std::string_view GradeName(Grade grade);

/// A resource that is not held as it was accepted.
struct Finding {
  std::int64_t line_seq = 0;
  line::Key key;
  std::string ward;
  std::string type, id;
  std::int64_t bundle_seq = 0;  ///< the delivery that was accepted
  Instant accepted_at{};
  Grade grade = Grade::kMissing;
  /// It was written after we wrote it, by somebody else: perhaps on purpose.
  bool changed_since = false;
  bool is_final = false;                ///< see AsWritten
  std::vector<Difference> differences;  ///< at most limits::kDifferencesMax
  std::size_t more = 0;                 ///< differences beyond those
  std::string why;                      ///< of what is missing or unreadable, in words
};

/// What is to be read back, with its line.
struct Item {
  std::int64_t line_seq = 0;
  line::Key key;
  std::string ward;
  ledger::Accepted sent;
  std::uint32_t attempts = 0;  ///< reads without an answer so far
};

/// That we may not read what is of the type of this item.
Finding ForbiddenType(const Item& item, const ReadBack& back);

/// What is not as it was sent; empty when all is.
/// Changed since: the endpoint says that it was written clearly later than it said yes to us.
std::vector<Finding> FindingsOf(const Item& item, const ReadBack& back, const Compared& compared);

/// Whether it is to go out again: never what could not be read, is there more than once, or differs
/// and cannot be changed; and what somebody else changed only when that is to be overwritten.
bool IsToBeSent(const Finding& finding, bool overwrite);

/// Sums of a run.
struct Tally {
  std::size_t looked_at = 0;  ///< lines, also those that the order is not about
  std::uint64_t of = 0;       ///< all lines there are
  std::size_t lines = 0;      ///< lines of which something was accepted in the period
  std::size_t compared = 0;   ///< resources read, or said to be missing
  std::size_t wrong_patient = 0, doubled = 0, missing = 0, differs = 0, unreadable = 0;
  std::size_t forbidden = 0;      ///< resources of types that we may not read: not compared
  std::size_t never_sent = 0;     ///< resources, see ledger::AcceptedOrder
  std::size_t changed_since = 0;  ///< of these
  std::size_t on_its_way = 0, given_up = 0, not_kept = 0;  ///< see ledger::AcceptedLine
  std::size_t troubles = 0;                                ///< lines that could not be looked at
  std::size_t sent = 0;                                    ///< resources that go again
  std::size_t deliveries = 0;                              ///< in so many deliveries

  void Add(const Finding& finding);
  std::size_t findings() const {
    return wrong_patient + doubled + missing + differs + unreadable + forbidden;
  }
};

}  // namespace dwell::reconcile
