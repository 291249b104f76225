#include "daemon/delivery/bundle_shape.h"

#include <charconv>

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::Value;

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

bool Says(const Value& object, std::string_view member, std::string_view text) {
  const std::optional<Value> value = object.Find(member);
  return value && value->is_string() && value->AsString() == text;
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
