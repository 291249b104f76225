#include "daemon/delivery/backoff.h"

#include <algorithm>

namespace dwell::delivery {

std::chrono::milliseconds WaitAfter(const Backoff& backoff, std::uint32_t attempts,
                                    std::uint64_t random) {
  auto whole = std::min(backoff.first, backoff.most);
  for (std::uint32_t i = 1; i < attempts && whole < backoff.most; ++i) {
    whole = std::min(whole * 2, backoff.most);
  }
  const auto half = whole / 2;
  const auto span = static_cast<std::uint64_t>((whole - half).count()) + 1;
  return half + std::chrono::milliseconds(static_cast<std::int64_t>(random % span));
}

}  // namespace dwell::delivery
