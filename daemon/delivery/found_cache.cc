#include "daemon/delivery/found_cache.h"

#include <utility>

namespace dwell::delivery {

const Found* FoundCache::Find(std::string_view search, Time now) const {
  const auto known = by_search_.find(search);
  if (known == by_search_.end() || now >= known->second->until) return nullptr;
  return &known->second->found;
}

void FoundCache::Put(const std::string& search, Found found, Time now) {
  if (lifetime_ <= std::chrono::milliseconds(0) || most_ == 0) return;
  Forget(search);
  while (!entries_.empty() && (entries_.size() >= most_ || now >= entries_.front().until)) {
    by_search_.erase(entries_.front().search);
    entries_.pop_front();
  }
  entries_.push_back({search, std::move(found), now + lifetime_});
  by_search_.emplace(entries_.back().search, std::prev(entries_.end()));
}

void FoundCache::Forget(std::string_view search) {
  const auto known = by_search_.find(search);
  if (known == by_search_.end()) return;
  const auto entry = known->second;  // the key is a view into it
  by_search_.erase(known);
  entries_.erase(entry);
}

}  // namespace dwell::delivery
