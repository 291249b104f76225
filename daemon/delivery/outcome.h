// What came of sending bundles: for each of them, and what it says of the endpoint. Pure.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "daemon/delivery/verdict.h"

namespace dwell::delivery {

/// What an attempt says of the endpoint as a whole.
struct Sign {
  enum class Kind : std::uint8_t {
    kNone,      ///< nothing, or it was told already
    kWell,      ///< it works; also a refusal shows that
    kStrained,  ///< it answers but cannot serve, at least not this
    kDown,      ///< it cannot be used, or asks us to wait
  };
  Kind kind = Kind::kNone;
  std::optional<std::chrono::milliseconds> asked;  ///< for kDown: the wait it names
};

Sign SignOf(const Verdict& verdict);
/// Of verdicts about bundles that went together; at least one.
Sign SignOf(const std::vector<Verdict>& verdicts);

struct Outcome {
  std::vector<Verdict> verdicts;  ///< one for each bundle, in their order
  Sign sign;
  std::size_t entries = 0;  ///< of the request that was answered last
};

}  // namespace dwell::delivery
