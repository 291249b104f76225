// The text of one parse as a stream of RapidJSON's reader: read and decoded in place. Ours because
// the library's own is read byte by byte; its SSE2 form lets the controls 0x1A to 0x1F pass in
// strings (reader.h of 1.1.0 compares with 0x19) and reads beyond the end of the text.
#pragma once

#include <rapidjson/reader.h>

#include "schemas/json/plain.h"

namespace dwell::schemas {

/// The text must end with a NUL and have kPlainPadding bytes of NUL there.
class InPlaceStream {
 public:
  using Ch = char;
  explicit InPlaceStream(char* text) : from_(text), to_(text), text_(text) {}

  char Peek() const { return *from_; }
  char Take() { return *from_++; }
  std::size_t Tell() const { return static_cast<std::size_t>(from_ - text_); }

  char* PutBegin() { return to_ = from_; }
  void Put(char c) { *to_++ = c; }
  void Flush() {}
  std::size_t PutEnd(char* begin) { return static_cast<std::size_t>(to_ - begin); }

  /// Takes, and puts, up to what ends or escapes in a string.
  void PutPlain() {
    if (from_ == to_) {
      from_ = to_ = SkipPlain(from_);
    } else {
      CopyPlain(&from_, &to_);
    }
  }
  void SkipSpace() {
    while (*from_ == ' ' || *from_ == '\n' || *from_ == '\r' || *from_ == '\t') ++from_;
  }

 private:
  char* from_;
  char* to_;
  char* text_;
};

}  // namespace dwell::schemas

namespace rapidjson {

template <>
struct StreamTraits<dwell::schemas::InPlaceStream> {
  enum { copyOptimization = 1 };
};

template <>
inline void SkipWhitespace(dwell::schemas::InPlaceStream& stream) {
  stream.SkipSpace();
}

template <>
template <>
inline void Reader::ScanCopyUnescapedString(dwell::schemas::InPlaceStream& from,
                                            dwell::schemas::InPlaceStream&) {
  from.PutPlain();
}

}  // namespace rapidjson
