#include "daemon/store/sum.h"

#include <algorithm>
#include <cstring>

namespace dwell::store {

void Sum::Add(std::string_view bytes) {
  while (!bytes.empty()) {
    std::uint64_t word = 0;
    const std::size_t taken = std::min(bytes.size(), sizeof word);
    std::memcpy(&word, bytes.data(), taken);
    bytes.remove_prefix(taken);
    Add(word);
  }
}

}  // namespace dwell::store
