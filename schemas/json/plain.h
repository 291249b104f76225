// Which bytes stand for themselves in a JSON string, looked for many at a time.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#ifdef __SSE2__
#include <emmintrin.h>
#endif

namespace dwell::schemas {

/// How many bytes from the start need no escape (RFC 8259 section 7): neither a control nor a quote
/// nor a backslash. Looks at `bytes` bytes and no further.
inline std::size_t PlainBytes(const char* text, std::size_t bytes);

/// How many bytes behind the end must be readable for SkipPlain() and CopyPlain(), and are NUL.
inline constexpr std::size_t kPlainPadding = 16;

inline bool IsPlain(char c) {
  return static_cast<unsigned char>(c) >= 0x20 && c != '"' && c != '\\';
}

#ifdef __SSE2__
/// One bit for each of 16 bytes that is not plain, the first byte's lowest.
inline unsigned NotPlain(__m128i bytes) {
  const __m128i quote = _mm_cmpeq_epi8(bytes, _mm_set1_epi8('"'));
  const __m128i slash = _mm_cmpeq_epi8(bytes, _mm_set1_epi8('\\'));
  const __m128i last_control = _mm_set1_epi8(0x1F);
  const __m128i control = _mm_cmpeq_epi8(_mm_max_epu8(bytes, last_control), last_control);
  return static_cast<unsigned>(
      _mm_movemask_epi8(_mm_or_si128(_mm_or_si128(quote, slash), control)));
}
inline __m128i Load16(const char* from) {
  return _mm_loadu_si128(reinterpret_cast<const __m128i*>(from));
}
#endif

/// The first byte that is not plain, of a text with kPlainPadding behind it.
inline char* SkipPlain(char* text) {
#ifdef __SSE2__
  for (;; text += 16) {
    const unsigned stops = NotPlain(Load16(text));
    if (stops != 0) return text + __builtin_ctz(stops);
  }
#else
  while (IsPlain(*text)) ++text;
  return text;
#endif
}

/// Copies plain bytes from `*from` to `*to`, which lies before it in the same text, and moves both.
inline void CopyPlain(char** from, char** to) {
#ifdef __SSE2__
  for (;; *from += 16, *to += 16) {
    const __m128i bytes = Load16(*from);
    if (NotPlain(bytes) != 0) break;
    _mm_storeu_si128(reinterpret_cast<__m128i*>(*to), bytes);
  }
#endif
  while (IsPlain(**from)) *(*to)++ = *(*from)++;
}

inline std::size_t PlainBytes(const char* text, std::size_t bytes) {
  std::size_t at = 0;
#ifdef __SSE2__
  for (; at + 16 <= bytes; at += 16) {
    const unsigned stops = NotPlain(Load16(text + at));
    if (stops != 0) return at + static_cast<std::size_t>(__builtin_ctz(stops));
  }
#endif
  while (at < bytes && IsPlain(text[at])) ++at;
  return at;
}

}  // namespace dwell::schemas
