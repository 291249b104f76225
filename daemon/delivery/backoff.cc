#include "daemon/delivery/backoff.h"

#include <algorithm>

namespace dwell::delivery {
namespace {

std::chrono::milliseconds HalfOrMore(std::chrono::milliseconds whole, std::uint64_t random) {
  const auto half = whole / 2;
  const auto span = static_cast<std::uint64_t>((whole - half).count()) + 1;
  return half + std::chrono::milliseconds(static_cast<std::int64_t>(random % span));
}

}  // namespace

std::chrono::milliseconds WaitAfter(const Backoff& backoff, std::uint32_t attempts,
                                    std::uint64_t random) {
  auto whole = std::min(backoff.first, backoff.most);
  for (std::uint32_t i = 1; i < attempts && whole < backoff.most; ++i) {
    whole = std::min(whole * 2, backoff.most);
  }
  return HalfOrMore(whole, random);
}

std::chrono::milliseconds WaitAtAge(const Backoff& backoff, std::chrono::milliseconds age,
                                    std::uint64_t random) {
  const auto most = std::max(backoff.first, backoff.most);
  return HalfOrMore(std::clamp(age / 4, std::min(backoff.first, most), most), random);
}

}  // namespace dwell::delivery
