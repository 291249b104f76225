#include "mapping/fhir/elements.h"

namespace dwell::fhir {

void WriteConcept(JsonWriter& json, const codes::Concept& what, std::string_view text) {
  if (text.empty() || text == what.text) return json.Raw(what.concept_json);
  json.BeginObject();
  json.MemberRaw("coding", what.coding_json);
  json.Member("text", text);
  json.EndObject();
}

void WriteConcept(JsonWriter& json, const Hl7Code& code) {
  json.BeginObject();
  json.Name("coding");
  json.BeginArray();
  json.BeginObject();
  json.Member("system", std::string(kTerminology).append(code.system));
  json.Member("code", code.code);
  json.Member("display", code.display);
  json.EndObject();
  json.EndArray();
  json.Member("text", code.display);
  json.EndObject();
}

void WriteConcepts(JsonWriter& json, const codes::Concept& first, const codes::Concept& second,
                   std::string_view text) {
  std::string codings = first.coding_json;  // "[a]" and "[b]" become "[a,b]"
  codings.back() = ',';
  codings.append(second.coding_json, 1);
  json.BeginObject();
  json.MemberRaw("coding", codings);
  json.Member("text", text);
  json.EndObject();
}

void WriteIdentifier(JsonWriter& json, std::string_view system, std::string_view value) {
  json.BeginObject();
  json.Member("system", system);
  json.Member("value", value);
  json.EndObject();
}

void WriteReference(JsonWriter& json, std::string_view type, std::string_view id) {
  std::string reference;
  reference.reserve(type.size() + 1 + id.size());
  reference.append(type).append("/").append(id);
  json.BeginObject();
  json.Member("reference", reference);
  json.EndObject();
}

void WriteLogicalReference(JsonWriter& json, std::string_view type, std::string_view system,
                           std::string_view value, std::string_view display) {
  json.BeginObject();
  if (!type.empty()) json.Member("type", type);
  json.Name("identifier");
  WriteIdentifier(json, system, value);
  if (!display.empty()) json.Member("display", display);
  json.EndObject();
}

void WriteQuantity(JsonWriter& json, std::string_view number, const Unit& unit) {
  json.BeginObject();
  json.MemberRaw("value", number);
  json.Member("unit", unit.text);
  if (!unit.ucum.empty()) {
    json.Member("system", kUcum);
    json.Member("code", unit.ucum);
  }
  json.EndObject();
}

void WritePeriod(JsonWriter& json, std::string_view start, std::string_view end) {
  json.BeginObject();
  if (!start.empty()) json.Member("start", start);
  if (!end.empty()) json.Member("end", end);
  json.EndObject();
}

void WriteWhen(JsonWriter& json, std::string_view prefix, const event::Event& event) {
  std::string name(prefix);
  if (event.happened_until) {
    json.Name(name.append("Period"));
    WritePeriod(json, event.happened.text, event.happened_until->text);
  } else {
    json.Member(name.append("DateTime"), event.happened.text);
  }
}

std::string FormatHours(std::chrono::milliseconds elapsed) {
  constexpr std::int64_t kMsPerHundredth = 36'000;
  const bool negative = elapsed.count() < 0;
  const std::int64_t ms = negative ? -elapsed.count() : elapsed.count();
  const std::int64_t hundredths = (ms + kMsPerHundredth / 2) / kMsPerHundredth;
  std::string text = negative && hundredths != 0 ? "-" : "";
  text += std::to_string(hundredths / 100);
  const std::int64_t rest = hundredths % 100;
  if (rest != 0) {
    text += '.';
    text += static_cast<char>('0' + rest / 10);
    if (rest % 10 != 0) text += static_cast<char>('0' + rest % 10);
  }
  return text;
}

std::string EncodeSegment(std::string_view text) {
  constexpr std::string_view kHex = "0123456789ABCDEF";
  std::string encoded;
  encoded.reserve(text.size());
  for (const char c : text) {
    const bool letter = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
    const bool unreserved =
        letter || (c >= '0' && c <= '9') || c == '-' || c == '.' || c == '_' || c == '~';
    const auto byte = static_cast<unsigned char>(c);
    if (unreserved) {
      encoded += c;
    } else {
      encoded += '%';
      encoded += kHex[byte >> 4U];
      encoded += kHex[byte & 0x0fU];
    }
  }
  return encoded;
}

}  // namespace dwell::fhir
