// Claimed bundles that wait for a sender: wards take turns, within a ward first come, first served.
// What was claimed ahead for one ward so does not stand before another's. Pure.
#pragma once

#include <cstdint>
#include <deque>
#include <list>
#include <unordered_map>

#include "daemon/store/store.h"

namespace dwell::delivery {

class Turns {
 public:
  bool empty() const { return size_ == 0; }
  std::size_t size() const { return size_; }

  /// A ward that had none is the last to have its turn.
  void Put(store::BundleRecord bundle);
  /// The next in turn; there must be one.
  const store::BundleRecord& Next() const { return wards_.front().front(); }
  store::BundleRecord Take();

 private:
  using Ward = std::deque<store::BundleRecord>;  // never empty
  std::list<Ward> wards_;                        // whose turn is next stands first
  std::unordered_map<std::int64_t, std::list<Ward>::iterator> by_ward_;
  std::size_t size_ = 0;
};

}  // namespace dwell::delivery
