// Builds a Document from RapidJSON's events. Inside schemas/json only.
#pragma once

#include <rapidjson/reader.h>

#include <string>
#include <string_view>
#include <vector>

#include "schemas/json/document.h"

namespace dwell::schemas {

/// The handler of one parse. The text lies in the document's own `characters_` and is decoded there
/// in place, so that strings, names and numbers are offsets into it and nothing is copied twice.
class DocumentBuilder {
 public:
  DocumentBuilder(std::string_view text, const ParseLimits& limits);

  /// Reads the whole text; at most once.
  Result<Document, ParseProblem> Build();

  // The events of rapidjson::Handler; false stops the parse. Numbers come as RawNumber() only.
  bool Null() { return Add(Kind::kNull); }
  bool Bool(bool truth);
  bool Int(int) { return false; }
  bool Uint(unsigned) { return false; }
  bool Int64(std::int64_t) { return false; }
  bool Uint64(std::uint64_t) { return false; }
  bool Double(double) { return false; }
  bool RawNumber(const char* text, rapidjson::SizeType length, bool copy);
  bool String(const char* text, rapidjson::SizeType length, bool copy);
  bool Key(const char* name, rapidjson::SizeType length, bool copy);
  bool StartObject() { return Open(Kind::kObject); }
  bool EndObject(rapidjson::SizeType count);
  bool StartArray() { return Open(Kind::kArray); }
  bool EndArray(rapidjson::SizeType count);

 private:
  using Node = Document::Node;

  bool Add(Kind kind);
  bool Open(Kind kind);
  void Close();
  bool SetText(const char* text, rapidjson::SizeType length);
  bool Refuse(std::string_view rule, std::size_t offset, std::string_view expected);
  bool RefuseDuplicate(std::uint32_t member);
  /// The later of two members of the object with the same name; 0 when all differ.
  std::uint32_t FindDuplicate(std::uint32_t object);
  std::uint32_t FindDuplicateByMask(std::uint32_t object) const;
  std::uint32_t FindDuplicateBySorting(std::uint32_t object);
  bool AcceptableCharacters(const char* text, rapidjson::SizeType length);
  ParseProblem FromReader(const rapidjson::ParseResult& result) const;

  std::string_view Name(std::uint32_t node) const {
    return document_.Characters(document_.nodes_[node].name_offset,
                                document_.nodes_[node].name_bytes);
  }
  std::uint32_t Offset(const char* at) const {
    return static_cast<std::uint32_t>(at - document_.characters_.data());
  }
  std::string OpenPointer() const;

  const ParseLimits& limits_;
  Document document_;
  ParseProblem problem_;
  bool has_unicode_escapes_ = false;  ///< only these can bring what CheckBytes() did not see
  std::size_t depth_ = 0;
  std::uint32_t open_ = 0;  ///< the innermost open array or object, if depth_ > 0
  bool named_ = false;      ///< a name was read and its value is due
  std::uint32_t name_offset_ = 0, name_bytes_ = 0, name_hash_ = 0;
  std::vector<std::uint32_t> members_;  ///< room for FindDuplicateBySorting()
};

}  // namespace dwell::schemas
