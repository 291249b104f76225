// Which resource a search led to, remembered for a while. Only what was found: that somebody is
// unknown may change at any moment. Pure: told the time.
#pragma once

#include <chrono>
#include <cstddef>
#include <list>
#include <string>
#include <string_view>
#include <unordered_map>

#include "daemon/delivery/match.h"

namespace dwell::delivery {

/// Holds at most `most` searches, dropping the oldest; each for `lifetime` (0: nothing is kept),
/// after which it is looked up again, so that a merge of patients is seen at the latest then.
class FoundCache {
 public:
  using Time = std::chrono::steady_clock::time_point;

  FoundCache(std::chrono::milliseconds lifetime, std::size_t most)
      : lifetime_(lifetime), most_(most) {}

  /// Null when it is not known, or no longer. Good until the next call of another member.
  const Found* Find(std::string_view search, Time now) const;
  void Put(const std::string& search, Found found, Time now);
  void Forget(std::string_view search);

  std::size_t size() const { return entries_.size(); }

 private:
  struct Entry {
    std::string search;
    Found found;
    Time until;
  };
  std::chrono::milliseconds lifetime_;
  std::size_t most_;
  std::list<Entry> entries_;  ///< oldest first, which is also the order in which they expire
  std::unordered_map<std::string_view, std::list<Entry>::iterator> by_search_;
};

}  // namespace dwell::delivery
