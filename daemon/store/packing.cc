#include "daemon/store/packing.h"

#include <lz4.h>

#include <cstdint>

#include "daemon/store/sum.h"
#include "schemas/base/check.h"

namespace dwell::store {
namespace {

constexpr std::size_t kSizeBytes = 4;
constexpr std::size_t kSumBytes = 8;
constexpr std::size_t kTextBytesMax = (1U << 30U) - 1;
/// In the size: a sum follows it, and the owner is part of that. Bodies of before have no sum, or
/// one without the owner.
constexpr std::uint64_t kHasSum = 1U << 31U;
constexpr std::uint64_t kHasOwner = 1U << 30U;
constexpr std::uint64_t kMarks = kHasSum | kHasOwner;

/// Least significant byte first.
void WriteNumber(std::uint64_t number, char* into, std::size_t bytes) {
  for (std::size_t i = 0; i < bytes; ++i) {
    into[i] = static_cast<char>((number >> (8 * i)) & 0xFFU);
  }
}

std::uint64_t ReadNumber(std::string_view bytes) {
  std::uint64_t number = 0;
  for (std::size_t i = bytes.size(); i > 0; --i) {
    number = number << 8U | static_cast<std::uint8_t>(bytes[i - 1]);
  }
  return number;
}

std::uint64_t SumOf(std::uint64_t size, const Owner* owner, std::string_view block) {
  Sum sum(size);
  if (owner != nullptr) {
    sum.Add(static_cast<std::uint64_t>(owner->bundle_seq));
    sum.Add(static_cast<std::uint64_t>(owner->line_seq));
    sum.Add(static_cast<std::uint64_t>(owner->endpoint));
    sum.Add(std::uint64_t{owner->entries});
  }
  sum.Add(block);
  return sum.value();
}

}  // namespace

std::string_view Packer::Pack(std::string_view text, const Owner& owner) {
  CHECK(text.size() <= kTextBytesMax);
  const int room = LZ4_compressBound(static_cast<int>(text.size()));
  constexpr std::size_t kBefore = kSizeBytes + kSumBytes;
  buffer_.resize(kBefore + static_cast<std::size_t>(room));
  const int size = LZ4_compress_default(text.data(), buffer_.data() + kBefore,
                                        static_cast<int>(text.size()), room);
  CHECK(size > 0);  // the room is the bound
  const auto packed = std::string_view(buffer_).substr(0, kBefore + static_cast<std::size_t>(size));
  WriteNumber(text.size() | kMarks, buffer_.data(), kSizeBytes);
  const std::uint64_t sum = SumOf(text.size(), &owner, packed.substr(kBefore));
  WriteNumber(sum, buffer_.data() + kSizeBytes, kSumBytes);
  return packed;
}

std::optional<std::string> Packer::Unpack(std::string_view packed, const Owner& owner) {
  if (packed.size() < kSizeBytes) return std::nullopt;
  const std::uint64_t head = ReadNumber(packed.substr(0, kSizeBytes));
  const std::size_t bytes = head & ~kMarks;
  packed.remove_prefix(kSizeBytes);
  if ((head & kHasSum) != 0) {
    if (packed.size() < kSumBytes) return std::nullopt;
    const std::uint64_t sum = ReadNumber(packed.substr(0, kSumBytes));
    packed.remove_prefix(kSumBytes);
    const Owner* const told = (head & kHasOwner) != 0 ? &owner : nullptr;
    if (sum != SumOf(bytes, told, packed)) return std::nullopt;
  }
  // A block holds at most 255 times its own size, so that a damaged size cannot ask for much.
  if (bytes > kTextBytesMax || bytes > packed.size() * 255) return std::nullopt;
  std::string text(bytes, '\0');
  const int size = LZ4_decompress_safe(packed.data(), text.data(), static_cast<int>(packed.size()),
                                       static_cast<int>(bytes));
  if (size < 0 || static_cast<std::size_t>(size) != bytes) return std::nullopt;
  return text;
}

}  // namespace dwell::store
