#include "daemon/store/packing.h"

#include <lz4.h>

#include <cstdint>

#include "schemas/base/check.h"

namespace dwell::store {
namespace {

constexpr std::size_t kSizeBytes = 4;
constexpr std::size_t kTextBytesMax = 1U << 30U;

}  // namespace

std::string_view Packer::Pack(std::string_view text) {
  CHECK(text.size() <= kTextBytesMax);
  const int room = LZ4_compressBound(static_cast<int>(text.size()));
  buffer_.resize(kSizeBytes + static_cast<std::size_t>(room));
  for (std::size_t i = 0; i < kSizeBytes; ++i) {
    buffer_[i] = static_cast<char>((text.size() >> (8 * i)) & 0xFFU);
  }
  const int size = LZ4_compress_default(text.data(), buffer_.data() + kSizeBytes,
                                        static_cast<int>(text.size()), room);
  CHECK(size > 0);  // the room is the bound
  return std::string_view(buffer_).substr(0, kSizeBytes + static_cast<std::size_t>(size));
}

std::optional<std::string> Packer::Unpack(std::string_view packed) {
  if (packed.size() < kSizeBytes) return std::nullopt;
  std::size_t bytes = 0;
  for (std::size_t i = 0; i < kSizeBytes; ++i) {
    bytes |= std::size_t{static_cast<std::uint8_t>(packed[i])} << (8 * i);
  }
  packed.remove_prefix(kSizeBytes);
  // A block holds at most 255 times its own size, so that a damaged size cannot ask for much.
  if (bytes > kTextBytesMax || bytes > packed.size() * 255) return std::nullopt;
  std::string text(bytes, '\0');
  const int size = LZ4_decompress_safe(packed.data(), text.data(), static_cast<int>(packed.size()),
                                       static_cast<int>(bytes));
  if (size < 0 || static_cast<std::size_t>(size) != bytes) return std::nullopt;
  return text;
}

}  // namespace dwell::store
