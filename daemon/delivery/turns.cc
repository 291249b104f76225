#include "daemon/delivery/turns.h"

#include <utility>

#include "schemas/base/check.h"

namespace dwell::delivery {

void Turns::Put(store::BundleRecord bundle) {
  auto [known, is_new] = by_ward_.try_emplace(bundle.ward);
  if (is_new) known->second = wards_.insert(wards_.end(), Ward());
  known->second->push_back(std::move(bundle));
  ++size_;
}

store::BundleRecord Turns::Take() {
  CHECK(size_ > 0);
  Ward& ward = wards_.front();
  store::BundleRecord bundle = std::move(ward.front());
  ward.pop_front();
  --size_;
  if (ward.empty()) {
    by_ward_.erase(bundle.ward);
    wards_.pop_front();
  } else {
    wards_.splice(wards_.end(), wards_, wards_.begin());
  }
  return bundle;
}

}  // namespace dwell::delivery
