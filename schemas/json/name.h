// Member names compared and hashed by few wide words: most have at most 16 bytes.
#pragma once

#include <cstdint>
#include <cstring>
#include <string_view>

namespace dwell::schemas {

/// The first and the last bytes of a name, which overlap; all of it when it has at most 16.
struct NameWords {
  std::uint64_t head = 0;
  std::uint64_t tail = 0;

  explicit NameWords(std::string_view name) {
    const std::size_t size = name.size();
    if (size >= sizeof head) {
      std::memcpy(&head, name.data(), sizeof head);
      std::memcpy(&tail, name.data() + size - sizeof tail, sizeof tail);
    } else if (size >= 4) {
      std::memcpy(&head, name.data(), 4);
      std::memcpy(&tail, name.data() + size - 4, 4);
    } else if (size > 0) {
      head = static_cast<unsigned char>(name[0]);
      tail = static_cast<unsigned char>(name[size / 2]) * 256U +
             static_cast<unsigned char>(name[size - 1]);
    }
  }
};

/// A hash of names that is cheap for short ones. Whoever chooses names badly only gets probes in a
/// table that is as small as the schema, and comparisons within one object.
inline std::uint32_t NameHash(std::string_view name) {
  const NameWords words(name);
  const std::uint64_t mix =
      (words.head ^ (words.tail * 0x9E3779B97F4A7C15) ^ name.size()) * 0xD6E8FEB86659FD93;
  return static_cast<std::uint32_t>(mix >> 32);
}

inline bool SameName(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  const NameWords x(a);
  const NameWords y(b);
  if (x.head != y.head || x.tail != y.tail) return false;
  return a.size() <= 16 || std::memcmp(a.data() + 8, b.data() + 8, a.size() - 16) == 0;
}

}  // namespace dwell::schemas
