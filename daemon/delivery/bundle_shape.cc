#include "daemon/delivery/bundle_shape.h"

#include <charconv>

#include "schemas/json/write_value.h"

namespace dwell::delivery {
namespace {

using schemas::Document;
using schemas::Value;
using Shape = Answered::Shape;

/// The three digits at the front of entry.response.status; 0 when there are none.
int EntryStatus(const std::optional<Value>& response) {
  const auto status = response && response->is_object() ? response->Find("status") : std::nullopt;
  if (!status || !status->is_string()) return 0;
  const std::string_view text = status->AsString();
  int number = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool ends = stop == text.data() + text.size() || *stop == ' ';
  return error == std::errc() && ends && number >= 100 && number <= 599 ? number : 0;
}

/// What is said of it stands in response.outcome (R4 bundle.html); some servers put it where the
/// resource would be.
BadEntry ReadBad(Value entry, Value response, int status, std::size_t number) {
  BadEntry bad{number, status, Issue::kNone, ""};
  auto outcome = response.Find("outcome");
  if (!outcome) outcome = entry.Find("resource");
  bad.issue = ReadIssue(outcome);
  if (bad.issue == Issue::kNone) return bad;
  schemas::JsonWriter json;
  schemas::WriteValue(json, *outcome);
  bad.outcome = json.Take();
  return bad;
}

Shape ShapeOf(Value root) {
  if (!root.is_object() || !Says(root, "resourceType", "Bundle")) return Shape::kOther;
  if (Says(root, "type", "transaction-response")) return Shape::kResponse;
  return Says(root, "type", "batch-response") ? Shape::kBatch : Shape::kOther;
}

}  // namespace

bool Says(const Value& object, std::string_view member, std::string_view text) {
  const std::optional<Value> value = object.Find(member);
  return value && value->is_string() && value->AsString() == text;
}

bool IsTaken(int status) { return status == 200 || status == 201 || status == 204; }

Answered ReadAnswer(std::string_view body) {
  Answered answered;
  const auto document = Document::Parse(body, kAnswerLimits);
  if (!document) return answered;
  const Value root = document->root();
  const Shape shape = ShapeOf(root);
  answered.shape = Shape::kOther;
  const auto entries = shape == Shape::kOther ? std::nullopt : root.Find("entry");
  if (!entries || !entries->is_array()) return answered;
  for (const Value entry : *entries) {
    const auto response = entry.is_object() ? entry.Find("response") : std::nullopt;
    const int status = EntryStatus(response);
    if (status == 0) return answered;
    ++answered.entries;
    if (IsTaken(status)) continue;
    answered.bad.push_back(ReadBad(entry, *response, status, answered.entries));
  }
  answered.shape = shape;
  return answered;
}

bool IsResource(std::string_view body, std::string_view type) {
  const auto document = Document::Parse(body, kAnswerLimits);
  return document && document->root().is_object() && Says(document->root(), "resourceType", type);
}

}  // namespace dwell::delivery
