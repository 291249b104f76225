// A sum over what is stored, against a disk that gives back other bits than it was given. Pure.
//
// Bodies carry one, over owner and bytes; lines one over key, bundles, issued and summary; events
// have their hash and their lines count them (the ledger compares). A small file is checked as a
// whole when it is opened, indexes against rows (open.cc). Not covered in a larger file:
// - when a bundle was tried, how often, whether it may have arrived, and a line's last_event_at;
// - state and place in the lane: a bundle that is claimed and not ready stops the store, as does
//   every change of a row that disagrees with an index; one that nothing changes stays where it is;
// - indexes: what one does not find any more is missed until the file is checked. `dwell status`
//   shows how long the oldest delivery waits.
// Nowhere covered: the words that say why, decisions, counts, and rows that an older version wrote.
#pragma once

#include <bit>
#include <cstdint>
#include <string_view>

namespace dwell::store {

/// Over words of eight bytes, for speed. Each step is one to one (the factor is odd), so that
/// damage within one word never goes unseen, and damage anywhere else but for one chance in 2^64.
/// No defence against somebody who means it.
class Sum {
 public:
  /// `size` is part of it.
  explicit Sum(std::uint64_t size) : sum_((size + 1) * kOdd) {}
  void Add(std::uint64_t word) { sum_ = std::rotl(sum_ ^ word, 29) * kOdd; }
  /// The bytes, not how many they are.
  void Add(std::string_view bytes);
  std::uint64_t value() const { return sum_; }

 private:
  static constexpr std::uint64_t kOdd = 0x9E3779B97F4A7C15U;  // 2^64 divided by the golden ratio
  std::uint64_t sum_;
};

}  // namespace dwell::store
