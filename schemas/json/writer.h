// Writes JSON text, compactly and in call order. Numbers go out as the text they came in with.
// Ours and not the library's: a resource is mostly finished text, which is copied here in runs.
#pragma once

#include <array>
#include <charconv>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>

#include "schemas/json/plain.h"

namespace dwell::schemas {

/// A streaming writer. Calls must form one legal JSON value; a wrong order is our bug.
class JsonWriter {
 public:
  JsonWriter() { text_.reserve(kExpectedBytes); }

  void BeginObject() { Open('{'); }
  void EndObject() { Close('}'); }
  void BeginArray() { Open('['); }
  void EndArray() { Close(']'); }
  void Name(std::string_view name) {
    String(name);
    text_ += ':';
    comma_ = false;
  }
  /// `text` is UTF-8; what JSON cannot hold as it is gets escaped (RFC 8259 section 7).
  void String(std::string_view text) {
    const std::size_t plain = PlainPrefix(text);
    char* to = Extend(plain + (comma_ ? 2 : 1));
    if (comma_) *to++ = ',';
    *to++ = '"';
    text.copy(to, plain);
    if (plain < text.size()) AppendEscaped(text.substr(plain));
    text_ += '"';
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
    Separate();
    text_ += text;
  }

  void Member(std::string_view name, std::string_view text) {
    Name(name);
    String(text);
  }
  void Member(std::string_view name, const char* text) { Member(name, std::string_view(text)); }
  void MemberBool(std::string_view name, bool truth) {
    Name(name);
    Bool(truth);
  }
  void MemberInteger(std::string_view name, std::int64_t number) {
    Name(name);
    Integer(number);
  }
  void MemberRaw(std::string_view name, std::string_view text) {
    Name(name);
    Raw(text);
  }

  /// The text written so far.
  std::string_view text() const { return text_; }
  /// The text; the writer is empty afterwards.
  std::string Take() { return std::exchange(text_, std::string()); }

 private:
  static constexpr std::size_t kExpectedBytes = 1024;  // most values we write are not much longer

  void Separate() {
    if (comma_) text_ += ',';
    comma_ = true;
  }
  void Open(char bracket) {
    Separate();
    text_ += bracket;
    comma_ = false;
  }
  void Close(char bracket) {
    text_ += bracket;
    comma_ = true;
  }
  /// Makes room for `bytes` more and gives their place.
  char* Extend(std::size_t bytes) {
    const std::size_t size = text_.size();
    text_.resize(size + bytes);
    return text_.data() + size;
  }
  static std::size_t PlainPrefix(std::string_view text) {
    return PlainBytes(text.data(), text.size());
  }
  void AppendEscaped(std::string_view text) {
    while (!text.empty()) {
      AppendEscape(text.front());
      text.remove_prefix(1);
      const std::size_t plain = PlainPrefix(text);
      text_.append(text, 0, plain);
      text.remove_prefix(plain);
    }
  }
  void AppendEscape(char c) {
    constexpr std::string_view kShort = "\"\\\b\f\n\r\t";
    constexpr std::string_view kLetters = "\"\\bfnrt";
    constexpr std::string_view kHex = "0123456789ABCDEF";
    text_ += '\\';
    if (const std::size_t at = kShort.find(c); at != std::string_view::npos) {
      text_ += kLetters[at];
      return;
    }
    const auto byte = static_cast<unsigned char>(c);
    text_ += "u00";
    text_ += kHex[byte >> 4U];
    text_ += kHex[byte & 0x0fU];
  }

  std::string text_;
  bool comma_ = false;  ///< whether the next value stands behind another one
};

}  // namespace dwell::schemas
