#include "mapping/line/line.h"

#include <utility>

#include "mapping/line/history.h"
#include "mapping/line/rules.h"

namespace dwell::line {
namespace {

using event::Kind;

Phase PhaseOf(const History& history) {
  if (history.insertion != kNone) {
    return history.removal == kNone ? Phase::kInPlace : Phase::kRemoved;
  }
  bool tried = false;
  for (int i = 0; i < history.size(); ++i) {
    if (!history.in_force(i) || history.event(i).kind() == Kind::kRetraction) continue;
    if (history.event(i).kind() != Kind::kInsertion) return Phase::kUnknown;
    tried = true;
  }
  return tried ? Phase::kNotPlaced : Phase::kUnknown;
}

/// The newest event in force that is no retraction; without one, the newest that is no retraction.
int PlaceIndex(const History& history) {
  int fallback = 0;
  for (int i = history.size() - 1; i >= 0; --i) {
    if (history.event(i).kind() == Kind::kRetraction) continue;
    if (history.in_force(i)) return i;
    if (fallback == 0) fallback = i;
  }
  return fallback;
}

}  // namespace

const Entry* Line::insertion() const {
  return insertion_index < 0 ? nullptr : &entries[static_cast<std::size_t>(insertion_index)];
}

const Entry* Line::removal() const {
  return removal_index < 0 ? nullptr : &entries[static_cast<std::size_t>(removal_index)];
}

bool Line::is_taken_back() const {
  bool told = false;
  for (const Entry& entry : entries) {
    if (entry.event->kind() == event::Kind::kRetraction) continue;
    if (entry.standing == Standing::kInForce) return false;
    told = true;
  }
  return told;
}

const Entry* Line::Find(std::string_view event_id) const {
  for (const Entry& entry : entries) {
    if (entry.event->id == event_id) return &entry;
  }
  return nullptr;
}

const event::Place& Line::place() const {
  return entries[static_cast<std::size_t>(place_index)].event->place;
}

Result<Line, Contradiction> Derive(const Key& key,
                                   std::vector<std::shared_ptr<const event::Event>> events,
                                   std::chrono::minutes watch) {
  History history = MakeHistory(std::move(events), watch);
  if (auto contradiction = FindContradiction(history)) return *std::move(contradiction);
  Line line;
  line.key = key;
  line.patient = PatientOf(history);
  line.phase = PhaseOf(history);
  line.insertion_index = history.insertion;
  line.removal_index = history.removal;
  line.place_index = PlaceIndex(history);
  line.entries = std::move(history.entries);
  return line;
}

}  // namespace dwell::line
