#include "daemon/reconcile/references.h"

#include <algorithm>
#include <array>

#include "mapping/fhir/references.h"

namespace dwell::reconcile {
namespace {

using schemas::Value;

constexpr std::array<std::string_view, 6> kMembers = {"reference", "type", "identifier",
                                                      "display",   "id",   "extension"};

/// R4 datatypes.html#id.
bool IsId(std::string_view id) {
  return !id.empty() && id.size() <= 64 && std::ranges::all_of(id, [](char c) {
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '-' ||
           c == '.';
  });
}

bool IsTypeName(std::string_view type) {
  return !type.empty() && type.front() >= 'A' && type.front() <= 'Z' &&
         std::ranges::all_of(
             type, [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); });
}

}  // namespace

std::string_view TextIn(Value object, std::string_view member) {
  const auto value = object.is_object() ? object.Find(member) : std::nullopt;
  return value && value->is_string() ? value->AsString() : std::string_view();
}

bool IsReference(Value value) {
  if (!value.is_object()) return false;
  for (const Value member : value) {
    if (std::ranges::count(kMembers, member.name()) == 0) return false;
  }
  const auto identifier = value.Find("identifier");
  return value.Find("reference") || (identifier && identifier->is_object());
}

std::string LiteralOf(std::string_view reference, std::string_view base) {
  if (!base.empty() && reference.starts_with(base) && reference.substr(base.size(), 1) == "/") {
    reference.remove_prefix(base.size() + 1);
  }
  reference = reference.substr(0, reference.find("/_history/"));
  const std::size_t slash = reference.find('/');
  if (slash == std::string_view::npos || !IsTypeName(reference.substr(0, slash)) ||
      !IsId(reference.substr(slash + 1))) {
    return {};
  }
  return std::string(reference);
}

std::string_view TypeOf(Value reference) {
  const std::string_view type = TextIn(reference, "type");
  if (!type.empty()) return type;
  const std::string_view text = TextIn(reference, "reference");
  const std::size_t end = text.find_first_of("?/");
  return end == std::string_view::npos ? std::string_view() : text.substr(0, end);
}

std::string SearchFor(Value reference) {
  const auto identifier = reference.Find("identifier");
  const std::string_view type = TypeOf(reference);
  if (!identifier || type.empty()) return {};
  const std::string_view value = TextIn(*identifier, "value");
  if (value.empty()) return {};
  return fhir::ConditionalReference(type, TextIn(*identifier, "system"), value);
}

}  // namespace dwell::reconcile
