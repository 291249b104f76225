// Bundle bodies, packed for the disk: they repeat themselves, and every byte is written twice (log
// and file) and read once. Measured on our own bundles: a quarter of the bytes for 7 us of 11 KB.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace dwell::store {

/// Whose body it is: what must never be mixed up, the bundle's numbers as they stand in its row.
struct Owner {
  std::int64_t bundle_seq = 0;
  std::int64_t line_seq = 0;
  std::int64_t endpoint = 0;
  std::uint32_t entries = 0;
};

/// Packs with LZ4 (block format), behind four bytes that tell the size and eight with a sum over
/// owner, size and block, least significant first: a disk that gives back other bits than it was
/// given must not change what is told of a patient, nor of which, nor to whom.
class Packer {
 public:
  /// The packed form of `text` (less than 1 GiB); valid until the next call.
  std::string_view Pack(std::string_view text, const Owner& owner);

  /// What was packed, or nothing when the bytes are damaged or somebody else's.
  static std::optional<std::string> Unpack(std::string_view packed, const Owner& owner);

 private:
  std::string buffer_;
};

}  // namespace dwell::store
