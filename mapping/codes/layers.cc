#include "mapping/codes/layers.h"

#include <algorithm>

namespace dwell::codes {

void Layers::LayOver(std::vector<Target> map) {
  for (const Target& over : map) {
    for (auto at = targets_.lower_bound({over.source, ""});
         at != targets_.end() && at->first.first == over.source; ++at) {
      if (!over.qualifier.empty() && at->first.second != over.qualifier) continue;
      std::erase_if(at->second,
                    [&](const Target& under) { return under.coding.system == over.coding.system; });
    }
  }
  for (Target& target : map) {
    if (target.coding.code.empty()) continue;  // only takes away
    auto& list = targets_[{target.source, target.qualifier}];
    list.push_back(std::move(target));
  }
}

std::vector<Target> Layers::Choose(const std::string& code, const std::string& qualifier) const {
  std::vector<Target> chosen;
  const auto take = [&](const std::string& by) {
    const auto found = targets_.find({code, by});
    if (found == targets_.end()) return;
    for (const Target& target : found->second) {
      const bool have = std::ranges::any_of(
          chosen, [&](const Target& other) { return other.coding.system == target.coding.system; });
      if (!have) chosen.push_back(target);
    }
  };
  if (!qualifier.empty()) take(qualifier);
  take("");
  std::ranges::stable_sort(chosen, {}, &Target::rank);
  return chosen;
}

}  // namespace dwell::codes
