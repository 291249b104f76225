#include "schemas/json/utf8.h"

#include <algorithm>
#include <cstdint>
#include <cstring>

namespace dwell::schemas {
namespace {

constexpr std::uint64_t kHighBits = 0x8080808080808080;

/// Lengths of the well-formed sequences and the range of their second byte (RFC 3629 section 4).
struct Form {
  unsigned char first_min, first_max, second_min, second_max;
  std::size_t bytes;
};
constexpr Form kForms[] = {
    {0xC2, 0xDF, 0x80, 0xBF, 2}, {0xE0, 0xE0, 0xA0, 0xBF, 3}, {0xE1, 0xEC, 0x80, 0xBF, 3},
    {0xED, 0xED, 0x80, 0x9F, 3}, {0xEE, 0xEF, 0x80, 0xBF, 3}, {0xF0, 0xF0, 0x90, 0xBF, 4},
    {0xF1, 0xF3, 0x80, 0xBF, 4}, {0xF4, 0xF4, 0x80, 0x8F, 4},
};

/// How many bytes from `at` are passed over at once because all of them are ASCII; maybe none.
std::size_t AsciiStep(std::string_view text, std::size_t at) {
  constexpr std::size_t kWords = 4;
  std::uint64_t words[kWords];
  if (text.size() - at >= sizeof words) {
    std::memcpy(words, text.data() + at, sizeof words);
    const std::uint64_t all = words[0] | words[1] | words[2] | words[3];
    if ((all & kHighBits) == 0) return sizeof words;
  }
  if (text.size() - at >= sizeof words[0]) {
    std::memcpy(words, text.data() + at, sizeof words[0]);
    if ((words[0] & kHighBits) == 0) return sizeof words[0];
  }
  return 0;
}

unsigned char Byte(std::string_view text, std::size_t at) {
  return static_cast<unsigned char>(text[at]);
}

/// Bytes of the well-formed sequence of more than one byte at `at`, or 0.
std::size_t SequenceBytes(std::string_view text, std::size_t at) {
  for (const Form& form : kForms) {
    if (Byte(text, at) < form.first_min || Byte(text, at) > form.first_max) continue;
    if (text.size() - at < form.bytes) return 0;
    if (Byte(text, at + 1) < form.second_min || Byte(text, at + 1) > form.second_max) return 0;
    for (std::size_t i = 2; i < form.bytes; ++i) {
      if ((Byte(text, at + i) & 0xC0) != 0x80) return 0;
    }
    return form.bytes;
  }
  return 0;
}

}  // namespace

std::optional<std::size_t> FirstBadUtf8(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    if (const std::size_t ascii = AsciiStep(text, at); ascii != 0) {
      at += ascii;
      continue;
    }
    if (Byte(text, at) < 0x80) {
      ++at;
      continue;
    }
    const std::size_t bytes = SequenceBytes(text, at);
    if (bytes == 0) return at;
    at += bytes;
  }
  return std::nullopt;
}

std::size_t CountCodePoints(std::string_view text) {
  return static_cast<std::size_t>(
      std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; }));
}

}  // namespace dwell::schemas
