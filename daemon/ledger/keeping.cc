#include "daemon/ledger/keeping.h"

#include <algorithm>
#include <array>

namespace dwell::ledger {
namespace {

using due::Stage;

bool InUse(const Keepsake& keepsake, Instant /*until*/) {
  const line::Line& line = keepsake.line;
  if (line.phase == line::Phase::kRemoved || line.phase == line::Phase::kNotPlaced) return false;
  return !line.is_taken_back();
}

bool Recent(const Keepsake& keepsake, Instant until) {
  return keepsake.last_event_at > until ||
         (keepsake.ties.last_settled_at && *keepsake.ties.last_settled_at > until);
}

/// The Task of a watch that nobody looked at stays overdue at the endpoint, as it was, once time
/// alone changes it no more.
bool IsOver(const due::Due& due) {
  return due.stage == Stage::kSettled || due.stage == Stage::kNoLongerNeeded ||
         due.stage == Stage::kEnteredInError ||
         (due.rule == due::Rule::kPostRemovalWatch && due.stage == Stage::kOverdue &&
          !due.changes_at);
}

bool HasDue(const Keepsake& keepsake, Instant /*until*/) {
  return !std::ranges::all_of(keepsake.dues, IsOver);
}

struct Row {
  std::string_view why;
  bool (*holds)(const Keepsake&, Instant until);
};

constexpr std::array<Row, 7> kRows{{
    {"in-use", InUse},
    {"recent", Recent},
    {"due", HasDue},
    {"open-delivery", [](const Keepsake& one, Instant) { return one.ties.open_delivery; }},
    {"perhaps-arrived", [](const Keepsake& one, Instant) { return one.ties.perhaps_arrived; }},
    {"awaits", [](const Keepsake& one, Instant) { return one.ties.awaits; }},
    {"given-up", [](const Keepsake& one, Instant) { return one.given_up; }},
}};

}  // namespace

std::string_view WhyKept(const Keepsake& keepsake, Instant until) {
  const auto* const row =
      std::ranges::find_if(kRows, [&](const Row& each) { return each.holds(keepsake, until); });
  return row == kRows.end() ? std::string_view() : row->why;
}

}  // namespace dwell::ledger
