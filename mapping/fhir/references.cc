#include "mapping/fhir/references.h"

#include "mapping/fhir/elements.h"

namespace dwell::fhir {
namespace {

/// R4 search.html#escaping: these four end or join values unless a backslash precedes them.
std::string EscapeToken(std::string_view text) {
  constexpr std::string_view kSpecial = "$,|\\";
  std::string escaped;
  escaped.reserve(text.size());
  for (const char c : text) {
    if (kSpecial.find(c) != std::string_view::npos) escaped += '\\';
    escaped += c;
  }
  return escaped;
}

}  // namespace

std::string ConditionalReference(std::string_view type, std::string_view system,
                                 std::string_view value) {
  std::string reference(type);
  reference.append("?identifier=").append(EncodeSegment(EscapeToken(system)));
  return reference.append("%7C").append(EncodeSegment(EscapeToken(value)));
}

void WriteKnownReference(schemas::JsonWriter& json, std::string_view type, std::string_view system,
                         std::string_view value, ReferenceForm form) {
  json.BeginObject();
  if (form == ReferenceForm::kConditional) {
    json.Member("reference", ConditionalReference(type, system, value));
  }
  json.Member("type", type);
  json.Name("identifier");
  WriteIdentifier(json, system, value);
  json.EndObject();
}

}  // namespace dwell::fhir
