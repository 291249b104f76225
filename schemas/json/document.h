// A JSON document that keeps what a clinical record must not lose: the text of every number.
// Read once, then immutable; values are views into the document and live as long as it does.
#pragma once

#include <cstddef>
#include <cstdint>
#include <iterator>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "schemas/base/check.h"
#include "schemas/base/result.h"
#include "schemas/json/name.h"

namespace dwell::schemas {

enum class Kind : std::uint8_t { kNull, kBool, kNumber, kString, kArray, kObject };

/// Bounds on what Parse() accepts, so that hostile input costs bounded time and memory.
struct ParseLimits {
  std::size_t bytes_max = 1 << 20;   ///< length of the text
  std::size_t depth_max = 32;        ///< nesting of arrays and objects
  std::size_t values_max = 100'000;  ///< number of values of any kind
};

/// Why a text is no acceptable JSON document. `rule` is one of: "syntax", "encoding" (not UTF-8,
/// lone surrogate, byte order mark), "nul" (U+0000 in a string), "duplicate-member", "depth",
/// "size", "count".
struct ParseProblem {
  std::string rule;
  std::string pointer;  ///< JSON Pointer (RFC 6901) of the value at fault, or of what encloses it
  std::size_t offset = 0;  ///< byte offset in the text
  std::string expected;    ///< what would have been right, in words, without any value of the input
};

class Document;

/// A value inside a Document: a small view, passed by value. Must not outlive the document, nor be
/// used after the document was moved.
class Value {
 public:
  Kind kind() const;
  bool is_object() const { return kind() == Kind::kObject; }
  bool is_array() const { return kind() == Kind::kArray; }
  bool is_string() const { return kind() == Kind::kString; }
  bool is_number() const { return kind() == Kind::kNumber; }
  bool is_bool() const { return kind() == Kind::kBool; }

  /// The truth of a boolean. CHECKs the kind, as all accessors do.
  bool AsBool() const;
  /// The decoded characters of a string.
  std::string_view AsString() const;
  /// The number exactly as it was written, e.g. "2.50".
  std::string_view NumberText() const;

  /// How many elements of an array or members of an object.
  std::size_t size() const;
  /// First child, if any; see next(). Works for arrays and objects.
  std::optional<Value> first() const;
  /// The following sibling inside the same array or object.
  std::optional<Value> next() const;
  /// The member name, for a child of an object; empty otherwise.
  std::string_view name() const;
  /// NameHash() of name(); 0 when there is none.
  std::uint32_t name_hash() const;
  /// The member called `name` of an object.
  std::optional<Value> Find(std::string_view name) const;
  /// The array or object that holds this value; empty for the root.
  std::optional<Value> parent() const;
  /// Where this value stands in its document, as a JSON Pointer (RFC 6901). Walks; for reports.
  std::string Pointer() const;

  /// Range support: `for (Value child : value)` over elements or members, in document order.
  class Iterator;
  Iterator begin() const;
  Iterator end() const;

 private:
  friend class Document;
  friend class DocumentBuilder;
  Value(const Document* document, std::uint32_t index) : document_(document), index_(index) {}
  const Document* document_;
  std::uint32_t index_;
};

class Document {
 public:
  /// Reads `text` (RFC 8259, UTF-8) iteratively, so that depth cannot exhaust the stack.
  static Result<Document, ParseProblem> Parse(std::string_view text,
                                              const ParseLimits& limits = {});

  Value root() const { return Value(this, 0); }
  /// The value at a JSON Pointer (RFC 6901), if there is one.
  std::optional<Value> At(std::string_view pointer) const;

 private:
  friend class Value;
  friend class DocumentBuilder;
  Document() = default;
  struct Node {
    Kind kind;
    bool truth;
    std::uint32_t name_hash;                ///< NameHash() of the name
    std::uint32_t name_offset, name_bytes;  ///< into characters_
    std::uint32_t text_offset, text_bytes;  ///< into characters_; strings and numbers
    std::uint32_t children;                 ///< how many
    std::uint32_t end;                      ///< index after the last descendant
    std::uint32_t parent;                   ///< the root's is itself
  };
  std::string_view Characters(std::uint32_t offset, std::uint32_t bytes) const {
    return {characters_.data() + offset, bytes};
  }
  std::vector<Node> nodes_;  ///< in document order: the first child follows its parent
  std::string characters_;   ///< the text, with strings and names decoded in place, and padding
};

/// `name` as one reference token of a JSON Pointer: '~' as "~0", '/' as "~1".
std::string PointerToken(std::string_view name);

class Value::Iterator {
 public:
  using iterator_category = std::input_iterator_tag;
  using value_type = Value;
  using difference_type = std::ptrdiff_t;
  using pointer = void;
  using reference = Value;

  explicit Iterator(std::optional<Value> at) : at_(at) {}
  Value operator*() const { return *at_; }
  Iterator& operator++() {
    at_ = at_->next();
    return *this;
  }
  Iterator operator++(int) {
    Iterator before = *this;
    ++*this;
    return before;
  }
  bool operator==(const Iterator& other) const { return at_.has_value() == other.at_.has_value(); }

 private:
  std::optional<Value> at_;
};

inline Value::Iterator Value::begin() const { return Iterator(first()); }
inline Value::Iterator Value::end() const { return Iterator(std::nullopt); }

inline Kind Value::kind() const { return document_->nodes_[index_].kind; }

inline bool Value::AsBool() const {
  const Document::Node& node = document_->nodes_[index_];
  CHECK(node.kind == Kind::kBool);
  return node.truth;
}

inline std::string_view Value::AsString() const {
  const Document::Node& node = document_->nodes_[index_];
  CHECK(node.kind == Kind::kString);
  return document_->Characters(node.text_offset, node.text_bytes);
}

inline std::string_view Value::NumberText() const {
  const Document::Node& node = document_->nodes_[index_];
  CHECK(node.kind == Kind::kNumber);
  return document_->Characters(node.text_offset, node.text_bytes);
}

inline std::size_t Value::size() const {
  const Document::Node& node = document_->nodes_[index_];
  CHECK(node.kind == Kind::kArray || node.kind == Kind::kObject);
  return node.children;
}

inline std::optional<Value> Value::first() const {
  const Document::Node& node = document_->nodes_[index_];
  CHECK(node.kind == Kind::kArray || node.kind == Kind::kObject);
  if (node.children == 0) return std::nullopt;
  return Value(document_, index_ + 1);
}

inline std::optional<Value> Value::next() const {
  const Document::Node& node = document_->nodes_[index_];
  const std::uint32_t end = document_->nodes_[node.parent].end;
  if (index_ == 0 || node.end == end) return std::nullopt;
  return Value(document_, node.end);
}

inline std::string_view Value::name() const {
  const Document::Node& node = document_->nodes_[index_];
  return document_->Characters(node.name_offset, node.name_bytes);
}

inline std::uint32_t Value::name_hash() const { return document_->nodes_[index_].name_hash; }

}  // namespace dwell::schemas
