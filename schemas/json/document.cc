#include "schemas/json/document.h"

#include <algorithm>
#include <charconv>

namespace dwell::schemas {
namespace {

/// A reference token with "~1" and "~0" read; empty when '~' stands otherwise (RFC 6901 section 3).
std::optional<std::string> ReadToken(std::string_view token) {
  std::string name;
  for (std::size_t i = 0; i < token.size(); ++i) {
    if (token[i] != '~') {
      name.push_back(token[i]);
      continue;
    }
    if (++i == token.size() || (token[i] != '0' && token[i] != '1')) return std::nullopt;
    name.push_back(token[i] == '0' ? '~' : '/');
  }
  return name;
}

/// The element an array index token names: digits, no leading zero (RFC 6901 section 4).
std::optional<Value> Element(Value array, std::string_view token) {
  std::size_t index = 0;
  const char* end = token.data() + token.size();
  const auto [stop, error] = std::from_chars(token.data(), end, index);
  if (error != std::errc() || stop != end || (token.size() > 1 && token[0] == '0')) return {};
  if (index >= array.size()) return std::nullopt;
  std::optional<Value> at = array.first();
  while (index-- > 0) at = at->next();
  return at;
}

}  // namespace

std::string PointerToken(std::string_view name) {
  std::string token;
  for (char c : name) {
    if (c == '~') {
      token += "~0";
    } else if (c == '/') {
      token += "~1";
    } else {
      token.push_back(c);
    }
  }
  return token;
}

std::optional<Value> Value::Find(std::string_view wanted) const {
  CHECK(is_object());
  const std::uint32_t hash = NameHash(wanted);
  for (std::optional<Value> at = first(); at; at = at->next()) {
    if (at->name_hash() == hash && SameName(at->name(), wanted)) return at;
  }
  return std::nullopt;
}

std::optional<Value> Value::parent() const {
  if (index_ == 0) return std::nullopt;
  return Value(document_, document_->nodes_[index_].parent);
}

std::string Value::Pointer() const {
  std::vector<std::string> tokens;
  Value at = *this;
  for (std::optional<Value> up = parent(); up; at = *up, up = up->parent()) {
    if (up->is_object()) {
      tokens.push_back(PointerToken(at.name()));
      continue;
    }
    std::size_t index = 0;
    for (Value child = *up->first(); child.index_ != at.index_; child = *child.next()) ++index;
    tokens.push_back(std::to_string(index));
  }
  std::string pointer;
  std::for_each(tokens.rbegin(), tokens.rend(), [&](const std::string& token) {
    pointer += '/';
    pointer += token;
  });
  return pointer;
}

std::optional<Value> Document::At(std::string_view pointer) const {
  std::optional<Value> at = root();
  while (at && !pointer.empty()) {
    if (pointer.front() != '/') return std::nullopt;
    pointer.remove_prefix(1);
    const std::size_t length = std::min(pointer.find('/'), pointer.size());
    const std::optional<std::string> token = ReadToken(pointer.substr(0, length));
    if (!token) return std::nullopt;
    if (at->is_object()) {
      at = at->Find(*token);
    } else if (at->is_array()) {
      at = Element(*at, *token);
    } else {
      return std::nullopt;
    }
    pointer.remove_prefix(length);
  }
  return at;
}

}  // namespace dwell::schemas
