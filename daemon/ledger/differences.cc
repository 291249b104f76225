#include "daemon/ledger/differences.h"

#include <optional>
#include <string>

#include "schemas/json/copy.h"

namespace dwell::ledger {
namespace {

using schemas::Kind;
using schemas::Value;

std::string TextOf(const std::optional<Value>& value) {
  if (!value) return {};
  if (value->is_string()) return std::string(value->AsString());
  schemas::JsonWriter json;
  schemas::WriteValue(json, *value);
  return json.Take();
}

bool SameScalar(Value before, Value after) {
  switch (before.kind()) {
    case Kind::kNull:
      return true;
    case Kind::kBool:
      return before.AsBool() == after.AsBool();
    case Kind::kNumber:
      return before.NumberText() == after.NumberText();
    default:
      return before.AsString() == after.AsString();
  }
}

class Comparing {
 public:
  Comparing(const Ignored& ignored, std::vector<Change>& changes)
      : ignored_(ignored), changes_(changes) {}

  void Compare(const std::string& pointer, std::optional<Value> before,
               std::optional<Value> after) {
    if (ignored_(pointer)) return;
    const bool same_kind = before && after && before->kind() == after->kind();
    if (same_kind && before->is_object()) return CompareMembers(pointer, *before, *after);
    if (same_kind && before->is_array()) return CompareElements(pointer, *before, *after);
    if (same_kind && SameScalar(*before, *after)) return;
    changes_.push_back({pointer, TextOf(before), TextOf(after)});
  }

 private:
  void CompareMembers(const std::string& pointer, Value before, Value after) {
    const auto below = [&pointer](Value child) {
      return pointer + "/" + schemas::PointerToken(child.name());
    };
    for (const Value child : before) Compare(below(child), child, after.Find(child.name()));
    for (const Value child : after) {
      if (!before.Find(child.name())) Compare(below(child), std::nullopt, child);
    }
  }

  void CompareElements(const std::string& pointer, Value before, Value after) {
    std::optional<Value> left = before.first();
    std::optional<Value> right = after.first();
    for (std::size_t i = 0; left || right; ++i) {
      Compare(pointer + "/" + std::to_string(i), left, right);
      if (left) left = left->next();
      if (right) right = right->next();
    }
  }

  const Ignored& ignored_;
  std::vector<Change>& changes_;
};

}  // namespace

std::vector<Change> Differences(Value before, Value after, const Ignored& ignored) {
  std::vector<Change> changes;
  Comparing(ignored, changes).Compare("", before, after);
  return changes;
}

}  // namespace dwell::ledger
