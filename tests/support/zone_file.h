// Time zone files of our own making (TZif version 2, RFC 8536), for tests.
#pragma once

#include <cstdint>
#include <string>

#include "mapping/event/moment.h"

namespace dwell::test {

/// A zone that is `before_h` ahead of UTC until `change`, and `after_h` (0 to 9) from then on.
inline std::string ZoneFile(int before_h, Instant change, int after_h) {
  const auto number = [](std::int64_t value, int bytes) {
    std::string text;
    for (int i = bytes - 1; i >= 0; --i) text += static_cast<char>((value >> (8 * i)) & 0xff);
    return text;
  };
  // Counts of: UT indicators, standard indicators, leap seconds, transitions, types, characters.
  const auto header = [&number](int transitions, int types) {
    std::string text = "TZif2" + std::string(15, '\0');
    for (const int count : {0, 0, 0, transitions, types, 4}) text += number(count, 4);
    return text;
  };
  const auto type = [&number](int hours) {
    return number(hours * 3600, 4) + std::string(2, '\0');  // no summer time, name at 0
  };
  const std::string name = std::string("WRD\0", 4);
  const auto at = std::chrono::floor<std::chrono::seconds>(change.time_since_epoch()).count();
  return header(0, 1) + type(before_h) + name + header(1, 2) + number(at, 8) + "\x01" +
         type(before_h) + type(after_h) + name + "\n<+0" + std::to_string(after_h) + ">-" +
         std::to_string(after_h) + "\n";
}

}  // namespace dwell::test
