#include "mapping/explain/alter.h"

#include <optional>

#include "schemas/json/writer.h"

namespace dwell::explain {
namespace {

using schemas::JsonWriter;
using schemas::Value;

void Write(JsonWriter& json, Value value, std::optional<std::string_view> path,
           std::string_view replacement);

/// Writes the children of an object or array; the one that `path` leads to is changed.
void WriteChildren(JsonWriter& json, Value value, std::optional<std::string_view> path,
                   std::string_view replacement) {
  std::string_view token;
  std::string_view rest;
  if (path) {
    token = path->substr(1);
    token = token.substr(0, token.find('/'));
    rest = path->substr(1 + token.size());
  }
  std::size_t index = 0;
  for (const Value child : value) {
    const std::string name =
        value.is_object() ? schemas::PointerToken(child.name()) : std::to_string(index++);
    const bool meant = path && name == token;
    if (meant && rest.empty() && replacement.empty()) continue;
    if (value.is_object()) json.Name(child.name());
    Write(json, child, meant ? std::optional(rest) : std::nullopt, replacement);
  }
}

void Write(JsonWriter& json, Value value, std::optional<std::string_view> path,
           std::string_view replacement) {
  if (path && path->empty()) return json.Raw(replacement);
  switch (value.kind()) {
    case schemas::Kind::kObject:
      json.BeginObject();
      WriteChildren(json, value, path, replacement);
      return json.EndObject();
    case schemas::Kind::kArray:
      json.BeginArray();
      WriteChildren(json, value, path, replacement);
      return json.EndArray();
    case schemas::Kind::kString:
      return json.String(value.AsString());
    case schemas::Kind::kNumber:
      return json.Raw(value.NumberText());
    case schemas::Kind::kBool:
      return json.Bool(value.AsBool());
    case schemas::Kind::kNull:
      return json.Null();
  }
}

bool IsDigit(char c) { return c >= '0' && c <= '9'; }

/// `text` with one digit changed, the last digits first; then with the last two changed, for what
/// ends with a check digit.
std::vector<std::string> OtherDigits(const std::string& text) {
  std::vector<std::string> others;
  std::vector<std::size_t> digits;
  for (std::size_t i = text.size(); i-- > 0;) {
    if (IsDigit(text[i])) digits.push_back(i);
  }
  for (const std::size_t at : digits) {
    for (int step = 1; step < 10; ++step) {
      others.push_back(text);
      others.back()[at] = static_cast<char>('0' + (text[at] - '0' + step) % 10);
    }
  }
  constexpr int kPairs = 100;
  for (int pair = 0; pair < kPairs && digits.size() > 1; ++pair) {
    others.push_back(text);
    others.back()[digits[1]] = static_cast<char>('0' + pair / 10);
    others.back()[digits[0]] = static_cast<char>('0' + pair % 10);
    if (others.back() == text) others.pop_back();
  }
  return others;
}

/// A minute earlier or later, within the hour: "2026-03-02T08:01:00+00:00".
std::vector<std::string> OtherMinutes(const std::string& text) {
  constexpr std::size_t kMinute = 15;
  std::vector<std::string> others;
  for (const int step : {1, 9}) {
    others.push_back(text);
    others.back()[kMinute] = static_cast<char>('0' + (text[kMinute] - '0' + step) % 10);
  }
  return others;
}

std::vector<std::string> OtherTexts(const Field& field, const std::string& old) {
  if (field.code) return {std::string(kUnknownCode)};
  if (field.format == "moment") return OtherMinutes(old);
  std::vector<std::string> others = OtherDigits(old);
  others.push_back(old + "x");
  return others;
}

}  // namespace

std::string Quoted(std::string_view text) {
  JsonWriter json;
  json.String(text);
  return json.Take();
}

std::string JsonText(Value value) {
  JsonWriter out;
  Write(out, value, std::nullopt, "");
  return out.Take();
}

std::string Rewrite(Value root, std::string_view pointer, std::string_view json) {
  JsonWriter out;
  Write(out, root, pointer, json);
  return out.Take();
}

std::vector<std::string> OtherValues(const Field& field, Value old) {
  if (!field.words.empty()) return {};
  if (old.is_object()) return {R"({"altered":true})"};
  if (old.is_number()) return OtherDigits(std::string(old.NumberText()));
  std::vector<std::string> others;
  for (const std::string& text : OtherTexts(field, std::string(old.AsString()))) {
    others.push_back(Quoted(text));
  }
  return others;
}

}  // namespace dwell::explain
