#include "schemas/reference.h"

#include <algorithm>

#include "schemas/formats.h"

namespace dwell::schemas {
namespace {

bool IsId(std::string_view text) {
  static const Format* const kId = FindFormat("fhir-id");
  return kId->matches(text);
}

bool IsUuidOrOid(std::string_view text) {
  static const Format* const kUuid = FindFormat("fhir-uuid");
  static const Format* const kOid = FindFormat("fhir-oid");
  return kUuid->matches(text) || kOid->matches(text);
}

/// A resource type's name: letters, the first one capital.
bool IsTypeName(std::string_view text) {
  return !text.empty() && text[0] >= 'A' && text[0] <= 'Z' &&
         std::all_of(text.begin(), text.end(),
                     [](char c) { return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z'); });
}

/// Takes the part behind the last '/' off the text.
std::string_view TakeLast(std::string_view* path) {
  const std::size_t slash = path->rfind('/');
  const bool whole = slash == std::string_view::npos;
  const std::string_view last = whole ? *path : path->substr(slash + 1);
  *path = whole ? std::string_view() : path->substr(0, slash);
  return last;
}

}  // namespace

std::optional<ReferenceForm> ReadReference(std::string_view text) {
  if (text.starts_with('#')) {
    if (text.size() > 1 && !IsId(text.substr(1))) return std::nullopt;
    return ReferenceForm{};
  }
  if (text.starts_with("urn:")) {
    if (!IsUuidOrOid(text)) return std::nullopt;
    return ReferenceForm{};
  }
  const std::size_t query = text.find('?');
  if (query != std::string_view::npos) {
    const std::string_view type = text.substr(0, query);
    if (!IsTypeName(type) || text.find('=', query) == std::string_view::npos) return std::nullopt;
    return ReferenceForm{type};
  }
  const bool absolute = text.starts_with("http://") || text.starts_with("https://");
  std::string_view path = text;
  std::string_view id = TakeLast(&path);
  std::string_view type = TakeLast(&path);
  if (type == "_history") {
    if (!IsId(id)) return std::nullopt;
    id = TakeLast(&path);
    type = TakeLast(&path);
  }
  if (!IsTypeName(type) || !IsId(id)) return std::nullopt;
  // What is left is the server's base: none, or one with a host.
  if (absolute ? path.size() <= std::string_view("http://").size() : !path.empty()) {
    return std::nullopt;
  }
  return ReferenceForm{type};
}

}  // namespace dwell::schemas
