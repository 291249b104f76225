// Lines in the form they are worked with, and a bounded memory of those used last, so that a busy
// line is not read and parsed again for each of its events. Used on the store thread only.
#pragma once

#include <list>
#include <memory>
#include <unordered_map>
#include <vector>

#include "daemon/store/store.h"
#include "mapping/fhir/bundle.h"

namespace dwell::ledger {

struct LineState {
  std::int64_t seq = 0;  ///< 0 while it is not stored
  line::Key key;
  std::vector<std::shared_ptr<const event::Event>> events;  ///< in order of arrival
  std::vector<fhir::Issued> issued;
  std::uint64_t bundles = 0;
};

/// Makes the state again from what is stored. Fails (kData) when a stored event or the issued list
/// is damaged, cannot be read any more, or is no longer kept.
Result<LineState> ReadLineState(const store::LineRecord& record);

class LineCache {
 public:
  /// Keeps lines that together have at most `events_max` events, and always the one used last.
  explicit LineCache(std::size_t events_max) : events_max_(events_max) {}

  /// The line, or null. The pointer holds until the next Put() or Drop().
  LineState* Find(const line::Key& key);
  /// Adds a line that is not in it.
  LineState* Put(LineState line);
  /// An event was added to a line that is in it.
  void CountEvent() { ++events_; }
  /// Forgets the line, if it is there: what it holds was rolled back.
  void Drop(const line::Key& key);

 private:
  struct HashKey {
    std::size_t operator()(const line::Key& key) const;
  };
  void MakeRoom();

  std::size_t events_max_;
  std::size_t events_ = 0;
  std::list<LineState> lines_;  // the one used last stands first
  std::unordered_map<line::Key, std::list<LineState>::iterator, HashKey> by_key_;
};

}  // namespace dwell::ledger
