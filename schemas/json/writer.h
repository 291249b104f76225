// Writes JSON text, compactly and in call order. Numbers go out as the text they came in with.
#pragma once

#include <rapidjson/stringbuffer.h>
#include <rapidjson/writer.h>

#include <cstdint>
#include <string>
#include <string_view>

namespace dwell::schemas {

/// A streaming writer. Calls must form one legal JSON value; a wrong order is our bug.
class JsonWriter {
 public:
  JsonWriter() : writer_(buffer_) {}

  void BeginObject() { writer_.StartObject(); }
  void EndObject() { writer_.EndObject(); }
  void BeginArray() { writer_.StartArray(); }
  void EndArray() { writer_.EndArray(); }
  void Name(std::string_view name) { writer_.Key(name.data(), Size(name)); }
  void String(std::string_view text) { writer_.String(text.data(), Size(text)); }
  void Bool(bool truth) { writer_.Bool(truth); }
  void Integer(std::int64_t number) { writer_.Int64(number); }
  void Null() { writer_.Null(); }
  /// `text` must already be a JSON number (or any finished JSON value) and is written unchanged.
  void Raw(std::string_view text) {
    writer_.RawValue(text.data(), text.size(), rapidjson::kNumberType);
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
  std::string_view text() const { return {buffer_.GetString(), buffer_.GetSize()}; }
  std::string Take() const { return std::string(text()); }

 private:
  static rapidjson::SizeType Size(std::string_view text) {
    return static_cast<rapidjson::SizeType>(text.size());
  }
  rapidjson::StringBuffer buffer_;
  rapidjson::Writer<rapidjson::StringBuffer> writer_;
};

}  // namespace dwell::schemas
