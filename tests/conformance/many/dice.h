// Choices that depend on the seed alone: std::mt19937_64 gives the same numbers everywhere, the
// library's distributions do not.
#pragma once

#include <cstddef>
#include <cstdint>
#include <random>
#include <vector>

namespace dwell::many {

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed) {}

  /// 0 .. count-1; `count` must not be 0.
  std::size_t Below(std::size_t count) { return static_cast<std::size_t>(engine_() % count); }
  /// low .. high, both included.
  std::int64_t Between(std::int64_t low, std::int64_t high) {
    return low + static_cast<std::int64_t>(Below(static_cast<std::size_t>(high - low + 1)));
  }
  bool Chance(int percent) { return Between(0, 99) < percent; }
  template <class List>
  const auto& Pick(const List& list) {
    return list[Below(std::size(list))];
  }
  /// Shuffled in place.
  template <class T>
  void Shuffle(std::vector<T>* list) {
    for (std::size_t i = list->size(); i > 1; --i) std::swap((*list)[i - 1], (*list)[Below(i)]);
  }

 private:
  std::mt19937_64 engine_;
};

}  // namespace dwell::many
