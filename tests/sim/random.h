// Chance that can be repeated: the same seed gives the same numbers on every machine.
#pragma once

#include <cstdint>
#include <initializer_list>

namespace dwell::sim {

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014).
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}

  std::uint64_t Next() {
    state_ += 0x9E37'79B9'7F4A'7C15U;
    std::uint64_t number = state_;
    number = (number ^ (number >> 30U)) * 0xBF58'476D'1CE4'E5B9U;
    number = (number ^ (number >> 27U)) * 0x94D0'49BB'1331'11EBU;
    return number ^ (number >> 31U);
  }
  /// Of 0 .. count - 1; `count` is small, so that the bias of the remainder does not matter.
  std::uint64_t Below(std::uint64_t count) { return Next() % count; }
  std::int64_t Between(std::int64_t least, std::int64_t most) {
    return least + static_cast<std::int64_t>(Below(static_cast<std::uint64_t>(most - least) + 1));
  }
  bool Chance(std::uint64_t percent) { return Below(100) < percent; }
  template <class T>
  T OneOf(std::initializer_list<T> choices) {
    return *(choices.begin() + Below(choices.size()));
  }

 private:
  std::uint64_t state_;
};

}  // namespace dwell::sim
