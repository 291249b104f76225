#include "daemon/delivery/bundle_shape.h"

#include <charconv>

#include "daemon/base/limits.h"
#include "schemas/json/document.h"

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::Value;

constexpr schemas::ParseLimits kAnswerLimits{.bytes_max = limits::kResponseBytesMax};

/// Index after the string that begins at `at`.
std::size_t SkipString(std::string_view text, std::size_t at) {
  for (++at; at < text.size(); ++at) {
    if (text[at] == '\\') {
      ++at;
    } else if (text[at] == '"') {
      return at + 1;
    }
  }
  return text.size();
}

bool Says(const Value& object, std::string_view member, std::string_view text) {
  const std::optional<Value> value = object.Find(member);
  return value && value->is_string() && value->AsString() == text;
}

/// The three digits at the front of entry.response.status; 0 when there are none.
int EntryStatus(const Value& entry) {
  const auto response = entry.is_object() ? entry.Find("response") : std::nullopt;
  const auto status = response && response->is_object() ? response->Find("status") : std::nullopt;
  if (!status || !status->is_string()) return 0;
  const std::string_view text = status->AsString();
  int number = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool ends = stop == text.data() + text.size() || *stop == ' ';
  return error == std::errc() && ends && number >= 100 && number <= 599 ? number : 0;
}

}  // namespace

std::size_t CountEntries(std::string_view bundle) {
  int depth = 0;
  bool inside = false;  // the array of entries
  std::size_t count = 0;
  for (std::size_t at = 0; at < bundle.size();) {
    const char c = bundle[at];
    if (c == '"') {
      const std::size_t end = SkipString(bundle, at);
      if (depth == 1 && bundle.substr(at, end - at + 2) == "\"entry\":[") inside = true;
      at = end;
      continue;
    }
    if (c == '{' || c == '[') {
      if (inside && depth == 2 && c == '{') ++count;
      ++depth;
    } else if (c == '}' || c == ']') {
      --depth;
      if (inside && depth == 1) return count;
    }
    ++at;
  }
  return count;
}

Answered ReadAnswer(std::string_view body) {
  Answered answered;
  const auto document = Document::Parse(body, kAnswerLimits);
  if (!document) return answered;
  answered.shape = Answered::Shape::kOther;
  const Value root = document->root();
  if (!root.is_object() || !Says(root, "resourceType", "Bundle") ||
      !Says(root, "type", "transaction-response")) {
    return answered;
  }
  const std::optional<Value> entries = root.Find("entry");
  if (!entries || !entries->is_array()) return answered;
  for (const Value entry : *entries) {
    const int status = EntryStatus(entry);
    if (status == 0) return answered;
    ++answered.entries;
    if (status / 100 != 2 && answered.bad_entry == 0) {
      answered.bad_entry = answered.entries;
      answered.bad_status = status;
    }
  }
  answered.shape = Answered::Shape::kResponse;
  return answered;
}

bool IsOperationOutcome(std::string_view body) {
  const auto document = Document::Parse(body, kAnswerLimits);
  return document && document->root().is_object() &&
         Says(document->root(), "resourceType", "OperationOutcome");
}

}  // namespace dwell::delivery
