// Writes JSON text, compactly and in call order. Numbers go out as the text they came in with.
// Ours and not the library's: a resource is mostly finished text, which is copied here in runs.
#pragma once

#include <array>
#include <charconv>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <string>
#include <string_view>
#include <utility>

#include "schemas/json/plain.h"

namespace dwell::schemas {

/// A streaming writer. Calls must form one legal JSON value; a wrong order is our bug.
class JsonWriter {
 public:
  JsonWriter() { text_.resize(kExpectedBytes); }

  void BeginObject() { Open('{'); }
  void EndObject() { Close('}'); }
  void BeginArray() { Open('['); }
  void EndArray() { Close(']'); }
  void Name(std::string_view name) {
    String(name);
    *Extend(1) = ':';
    comma_ = false;
  }
  /// A name that our own code spells out, without anything to escape: not looked through.
  template <std::size_t kSize>
  void Name(const char (&literal)[kSize]) {
    constexpr std::size_t kBytes = kSize - 1;
    char* to = Extend(kBytes + (comma_ ? 4 : 3));
    if (comma_) *to++ = ',';
    *to = '"';
    std::memcpy(to + 1, literal, kBytes);
    to[kBytes + 1] = '"';
    to[kBytes + 2] = ':';
    comma_ = false;
  }
  /// `text` is UTF-8; what JSON cannot hold as it is gets escaped (RFC 8259 section 7).
  void String(std::string_view text) {
    const std::size_t plain = PlainBytes(text.data(), text.size());
    char* to = Extend(plain + (comma_ ? 2 : 1));
    if (comma_) *to++ = ',';
    *to++ = '"';
    text.copy(to, plain);
    if (plain < text.size()) AppendEscaped(text.substr(plain));
    *Extend(1) = '"';
    comma_ = true;
  }
  void Bool(bool truth) { Raw(truth ? "true" : "false"); }
  void Integer(std::int64_t number) {
    std::array<char, 24> digits;  // 19 digits and a sign at most
    const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
    Raw({digits.data(), static_cast<std::size_t>(end - digits.data())});
  }
  void Null() { Raw("null"); }
  /// `text` must already be a JSON number (or any finished JSON value) and is written unchanged.
  void Raw(std::string_view text) {
    char* to = Extend(text.size() + (comma_ ? 1 : 0));
    if (comma_) *to++ = ',';
    text.copy(to, text.size());
    comma_ = true;
  }

  // `name` is a std::string_view, or a literal as for Name().
  template <class Key>
  void Member(const Key& name, std::string_view text) {
    Name(name);
    String(text);
  }
  template <class Key>
  void MemberBool(const Key& name, bool truth) {
    Name(name);
    Bool(truth);
  }
  template <class Key>
  void MemberInteger(const Key& name, std::int64_t number) {
    Name(name);
    Integer(number);
  }
  template <class Key>
  void MemberRaw(const Key& name, std::string_view text) {
    Name(name);
    Raw(text);
  }

  /// The text written so far.
  std::string_view text() const { return {text_.data(), used_}; }
  /// The text; the writer is empty afterwards.
  std::string Take() {
    text_.resize(used_);
    used_ = 0;
    comma_ = false;
    return std::exchange(text_, std::string());
  }

 private:
  static constexpr std::size_t kExpectedBytes = 2048;  // most values we write are not much longer

  void Open(char bracket) {
    char* to = Extend(comma_ ? 2 : 1);
    if (comma_) *to++ = ',';
    *to = bracket;
    comma_ = false;
  }
  void Close(char bracket) {
    *Extend(1) = bracket;
    comma_ = true;
  }
  /// Makes room for `bytes` more and gives their place.
  char* Extend(std::size_t bytes) {
    if (text_.size() - used_ < bytes) [[unlikely]]
      Grow(bytes);
    char* at = text_.data() + used_;
    used_ += bytes;
    return at;
  }
  [[gnu::noinline]] void Grow(std::size_t bytes) { text_.resize((text_.size() + bytes) * 2); }
  void Append(std::string_view text) { text.copy(Extend(text.size()), text.size()); }
  void AppendEscaped(std::string_view text) {
    while (!text.empty()) {
      AppendEscape(text.front());
      text.remove_prefix(1);
      const std::size_t plain = PlainBytes(text.data(), text.size());
      Append(text.substr(0, plain));
      text.remove_prefix(plain);
    }
  }
  void AppendEscape(char c) {
    constexpr std::string_view kShort = "\"\\\b\f\n\r\t";
    constexpr std::string_view kLetters = "\"\\bfnrt";
    constexpr std::string_view kHex = "0123456789ABCDEF";
    if (const std::size_t at = kShort.find(c); at != std::string_view::npos) {
      const char escape[] = {'\\', kLetters[at]};
      return Append({escape, sizeof escape});
    }
    const auto byte = static_cast<unsigned char>(c);
    const char escape[] = {'\\', 'u', '0', '0', kHex[byte >> 4U], kHex[byte & 0x0fU]};
    Append({escape, sizeof escape});
  }

  std::string text_;  ///< room; the text is its first `used_` bytes
  std::size_t used_ = 0;
  bool comma_ = false;  ///< whether the next value stands behind another one
};

}  // namespace dwell::schemas
