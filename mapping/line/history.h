// The events of a line in order, with what each one does to the others: which is replaced, which is
// retracted, which one placed the line and which one ended it. Nothing is judged here, see rules.h.
#pragma once

#include <chrono>
#include <cstddef>
#include <memory>
#include <vector>

#include "mapping/line/line.h"

namespace dwell::line {

/// Index of no entry.
inline constexpr int kNone = -1;

/// Entries and how they refer to each other. All indices are into `entries`.
struct History {
  std::vector<Entry> entries;  ///< by happened, then recorded, then id
  std::vector<int>
      replaced;  ///< per entry: the one it replaces; kNone when none or not arrived yet
  std::vector<int> retracted;    ///< per entry: the one it retracts; kNone likewise
  int insertion = kNone;         ///< first in force that placed the line
  int removal = kNone;           ///< first in force
  std::chrono::minutes watch{};  ///< how long after the removal a site check is legal

  int size() const { return static_cast<int>(entries.size()); }
  const Entry& at(int index) const { return entries[static_cast<std::size_t>(index)]; }
  const event::Event& event(int index) const { return *at(index).event; }
  bool in_force(int index) const { return at(index).standing == Standing::kInForce; }
};

/// Whether the event placed a line.
bool Places(const event::Event& event);

/// Whether `a` was written down before `b`: by recorded, then by id.
bool RecordedBefore(const event::Event& a, const event::Event& b);

/// Orders the events and works out standing, root and the bounds of the line's life. Any set of
/// events gives a history, contradictory ones too.
History MakeHistory(std::vector<std::shared_ptr<const event::Event>> events,
                    std::chrono::minutes watch);

}  // namespace dwell::line
